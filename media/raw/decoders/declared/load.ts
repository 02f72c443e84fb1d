/** Reads the file that declares a decoder: every departure as a finding with file, line and field, and the program found. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { dirname, resolve } from 'node:path';
import type { z } from 'zod';
import type { Finding } from '../../../../findings/finding.ts';
import { type DocumentCodes, type Path, type WrittenDocument, findingAt, readDocument } from '../../../document.ts';
import { isProgram, programsOnPath } from '../../../tools/program.ts';
import { contradictions } from './rules.ts';
import { type DeclaredDecoder, declaredDecoderSchema } from './schema.ts';

export interface LoadedDecoder {
  readonly declared: DeclaredDecoder;
  readonly origin: string;
  /** SHA-256 over the declaration and the programs that it names, first twelve digits: what a report says of it. */
  readonly version: string;
  /** Absolute paths. */
  readonly program: string;
  readonly tellingProgram: string | null;
}

const codes: DocumentCodes = { missing: 'decoder-file-unreadable', unreadable: 'decoder-file-unreadable', form: 'a file that declares a decoder' };

function placeIn(document: WrittenDocument, path: Path): { origin: string; line: number; field: string } {
  const field = path.reduce<string>((text, part) => (typeof part === 'number' ? `${text}[${part}]` : text === '' ? part : `${text}.${part}`), '');
  return { origin: document.origin, line: document.lineOf(path), field };
}

/** For people: short, whatever was written. */
function shownAt(values: unknown, path: Path): string {
  let at = values;
  for (const part of path) at = typeof at === 'object' && at !== null ? (at as Record<string | number, unknown>)[part] : undefined;
  const text = at === undefined ? 'not stated' : (JSON.stringify(at) ?? String(at));
  return text.length > 80 ? `${text.slice(0, 79)}…` : text;
}

function fromIssue(issue: z.core.$ZodIssue, document: WrittenDocument): Finding[] {
  const path = issue.path as Path;
  if (issue.code === 'unrecognized_keys') return issue.keys.map((key) => findingAt('decoder-file-wrong', placeIn(document, [...path, key]), 'no such field', 'a field that docs/decoders.md names'));
  return [findingAt('decoder-file-wrong', placeIn(document, path), shownAt(document.values, path), issue.message)];
}

/** A bare name is sought on PATH; any other path as seen from the declaration. */
function programAt(name: string, folder: string): string | null {
  if (!name.includes('/')) return programsOnPath(name)[0] ?? null;
  const path = resolve(folder, name);
  return isProgram(path) ? path : null;
}

export async function loadDecoder(path: string): Promise<{ decoder: LoadedDecoder } | { findings: Finding[] }> {
  const read = await readDocument(resolve(path), codes);
  if ('findings' in read) return read;
  const { document } = read;
  const parsed = declaredDecoderSchema.safeParse(document.values);
  if (!parsed.success) return { findings: parsed.error.issues.flatMap((issue) => fromIssue(issue, document)) };
  const declared = parsed.data;
  const findings = contradictions(declared).map((item) => findingAt('decoder-file-wrong', placeIn(document, item.path), item.found, item.expected));
  if (declared.name !== document.stem) findings.unshift(findingAt('decoder-file-wrong', placeIn(document, ['name']), declared.name, `${document.stem}, as the file is called`));
  const folder = dirname(document.origin);
  const sought = (command: readonly string[], where: Path): string | null => {
    const name = command[0] as string;
    const program = programAt(name, folder);
    if (program === null) findings.push(findingAt('decoder-program-missing', placeIn(document, where), name, name.includes('/') ? 'a program at this path' : 'a program on PATH'));
    return program;
  };
  const program = sought(declared.command, ['command', 0]);
  const tellingProgram = declared.tells === null ? null : sought(declared.tells.command, ['tells', 'command', 0]);
  if (findings.length > 0 || program === null) return { findings };
  const hash = createHash('sha256');
  for (const file of [document.origin, program, ...(tellingProgram === null ? [] : [tellingProgram])]) hash.update(await readFile(file));
  return { decoder: { declared, origin: document.origin, version: hash.digest('hex').slice(0, 12), program, tellingProgram } };
}
