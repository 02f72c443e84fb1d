/** Reads the file that declares a decoder: every departure as a finding with file, line and field, and the programs found. */
import { resolve } from 'node:path';
import type { z } from 'zod';
import type { Finding } from '../../../../findings/finding.ts';
import {
  type DocumentCodes,
  type Path,
  type WrittenDocument,
  findingAt,
  readDocument,
} from '../../../../files/document.ts';
import { findPrograms, type LoadedDecoder, wantedProgram } from './programs.ts';
import { contradictions } from './rules.ts';
import { declaredDecoderSchema } from '../../../declaration.ts';

const codes: DocumentCodes = {
  missing: 'decoder-file-unreadable',
  unreadable: 'decoder-file-unreadable',
  form: 'a file that declares a decoder',
};

function placeIn(document: WrittenDocument, path: Path): { origin: string; line: number; field: string } {
  const field = path.reduce<string>(
    (text, part) => (typeof part === 'number' ? `${text}[${part}]` : text === '' ? part : `${text}.${part}`),
    '',
  );
  return { origin: document.origin, line: document.lineOf(path), field };
}

/** For people: short, whatever was written. */
function shownAt(values: unknown, path: Path): string {
  let at = values;
  for (const part of path)
    at = typeof at === 'object' && at !== null ? (at as Record<string | number, unknown>)[part] : undefined;
  const text = at === undefined ? 'not stated' : (JSON.stringify(at) ?? String(at));
  return text.length > 80 ? `${text.slice(0, 79)}…` : text;
}

function fromIssue(issue: z.core.$ZodIssue, document: WrittenDocument): Finding[] {
  const path = issue.path as Path;
  if (issue.code === 'unrecognized_keys')
    return issue.keys.map((key) =>
      findingAt(
        'decoder-file-wrong',
        placeIn(document, [...path, key]),
        'no such field',
        'a field that docs/decoders.md names',
      ),
    );
  return [
    findingAt('decoder-file-wrong', placeIn(document, path), shownAt(document.values, path), issue.message),
  ];
}

export async function loadDecoder(
  path: string,
): Promise<{ decoder: LoadedDecoder } | { findings: Finding[] }> {
  const read = await readDocument(resolve(path), codes);
  if ('findings' in read) return read;
  const { document } = read;
  const parsed = declaredDecoderSchema.safeParse(document.values);
  if (!parsed.success)
    return { findings: parsed.error.issues.flatMap((issue) => fromIssue(issue, document)) };
  const declared = parsed.data;
  const findings = contradictions(declared).map((item) =>
    findingAt('decoder-file-wrong', placeIn(document, item.path), item.found, item.expected),
  );
  if (declared.name !== document.stem)
    findings.unshift(
      findingAt(
        'decoder-file-wrong',
        placeIn(document, ['name']),
        declared.name,
        `${document.stem}, as the file is called`,
      ),
    );
  const found = await findPrograms(declared, document.origin);
  if ('missing' in found)
    findings.push(
      ...found.missing.map(({ program, where }) =>
        findingAt('decoder-program-missing', placeIn(document, where), program, wantedProgram(program)),
      ),
    );
  return findings.length > 0 || 'missing' in found ? { findings } : found;
}
