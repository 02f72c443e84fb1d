/** Reads the settings file: every departure as a finding with file and line. Files that it names are read and named by their content. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { basename, dirname, extname, resolve } from 'node:path';
import type { z } from 'zod';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { type DeclaredDecoders, loadDecoders } from '../../media/raw/decoders/declared/all.ts';
import { LIBRAW_DECODER, OWN_DECODER } from '../../media/raw/decoders/names.ts';
import { findingAt, type Path, readProfile } from '../../profiles/document.ts';
import { type SettingsFile, type SettingsPart, settingsSchema } from './schema.ts';

/** A transform that lies in a file of its own. */
export interface TransformFile {
  readonly path: string;
  readonly sha256: string;
  /** With its dot: `.cube`, `.clf`. */
  readonly extension: string;
  readonly text: string;
}

export interface Settings {
  /** null: the night has none. */
  readonly origin: string | null;
  readonly file: SettingsFile;
  /** By SHA-256. */
  readonly transforms: ReadonlyMap<string, TransformFile>;
  readonly decoders: DeclaredDecoders;
}

export const noSettings: Settings = {
  origin: null,
  file: { version: 1 },
  transforms: new Map(),
  decoders: { raw: [], pictures: [] },
};

/** Throws FindingError (exit 2) with everything that is wrong. */
export async function readSettings(path: string): Promise<Settings> {
  const read = await readProfile(resolve(path));
  if ('findings' in read)
    throw new FindingError(
      read.findings.map((item) => ({ ...item, code: 'settings-unreadable' })),
      2,
    );
  const { document } = read;
  const at = (where: Path): { origin: string; line: number; field: string } => ({
    origin: document.origin,
    line: document.lineOf(where),
    field: where.join('.'),
  });
  // A transform's digest is what its file holds, never what somebody writes.
  const folder = dirname(resolve(path));
  const transforms = new Map<string, TransformFile>();
  const findings: Finding[] = [];
  const values = structuredClone(document.values) as Record<string, unknown>;
  for (const { part, where } of partsIn(values)) {
    const { input } = part as { input?: unknown };
    if (typeof input !== 'object' || input === null || !('file' in input) || typeof input.file !== 'string')
      continue;
    const file = resolve(folder, input.file);
    try {
      const bytes = await readFile(file);
      const sha256 = createHash('sha256').update(bytes).digest('hex');
      transforms.set(sha256, {
        path: file,
        sha256,
        extension: extname(file).toLowerCase(),
        text: new TextDecoder('utf-8', { fatal: true }).decode(bytes),
      });
      Object.assign(input, { file: basename(file), sha256 });
      // Tetrahedral is what grading rooms take .cube files for (common practice, no source); a .clf file says it itself.
      if (/\.cube$/i.test(file) && !('interpolation' in input))
        Object.assign(input, { interpolation: 'tetrahedral' });
    } catch (error) {
      findings.push(
        findingAt(
          'settings-value-wrong',
          at([...where, 'input', 'file']),
          `${input.file}: ${(error as Error).message}`,
          'a .cube or .clf file, as seen from the settings',
        ),
      );
      Object.assign(input, { sha256: '0'.repeat(64) });
    }
  }
  const parsed = settingsSchema.safeParse(values);
  if (!parsed.success) findings.push(...parsed.error.issues.map((issue) => fromIssue(issue, at)));
  if (!parsed.success) throw new FindingError(findings, 2);
  const { findings: ofDecoders, ...decoders } = await loadDecoders(
    (parsed.data.decoders ?? []).map((name) => resolve(folder, name)),
  );
  findings.push(...ofDecoders);
  // Names of decoders that could not be read are not known.
  if (ofDecoders.length === 0) findings.push(...nameFindings(values, decoders, at));
  if (findings.length > 0) throw new FindingError(findings, 2);
  return { origin: document.origin, file: parsed.data, transforms, decoders };
}

/** Every decoder has one name, and every name that the settings say is a decoder's. */
function nameFindings(
  values: Record<string, unknown>,
  { raw, pictures }: DeclaredDecoders,
  at: (where: Path) => Parameters<typeof findingAt>[1],
): Finding[] {
  const names = [
    OWN_DECODER,
    LIBRAW_DECODER,
    ...raw.map(({ name }) => name),
    ...pictures.map(({ declared }) => declared.name),
  ];
  const twice = names.filter((name, index) => names.indexOf(name) !== index);
  const findings = twice.map((name) =>
    findingAt('settings-value-wrong', at(['decoders']), `two decoders called ${name}`, 'a name for each'),
  );
  for (const { part, where } of partsIn(values)) {
    const named = (part as SettingsPart).raw?.decoder;
    if (named !== undefined && !names.includes(named))
      findings.push(
        findingAt(
          'settings-value-wrong',
          at([...where, 'raw', 'decoder']),
          named,
          `one of: ${names.join(', ')}`,
        ),
      );
  }
  return findings;
}

function* partsIn(values: Record<string, unknown>): Generator<{ part: object; where: Path }> {
  const group = (value: unknown): value is Record<string, unknown> =>
    typeof value === 'object' && value !== null && !Array.isArray(value);
  if (group(values.show)) yield { part: values.show, where: ['show'] };
  for (const list of ['cameras', 'rolls'] as const) {
    const parts = values[list];
    if (group(parts))
      for (const [name, part] of Object.entries(parts)) if (group(part)) yield { part, where: [list, name] };
  }
}

function fromIssue(
  issue: z.core.$ZodIssue,
  at: (where: Path) => { origin: string; line: number; field: string },
): Finding {
  const path = issue.path as Path;
  if (issue.code === 'unrecognized_keys')
    return findingAt(
      'settings-value-wrong',
      at([...path, issue.keys[0] ?? '']),
      `no field ${issue.keys.join(', ')}`,
      'fields that docs/settings.md names',
    );
  return findingAt('settings-value-wrong', at(path), issue.message, 'a value that docs/settings.md names');
}

/** What the settings say of a roll, the nearest word first. */
export function partsFor(
  file: SettingsFile,
  roll: string,
): { readonly said: 'roll' | 'camera' | 'show'; readonly part: SettingsPart }[] {
  const letters = /^[A-Za-z]+/.exec(roll)?.[0] ?? '';
  const camera = Object.entries(file.cameras ?? {})
    .filter(([name]) => letters.toUpperCase().startsWith(name.toUpperCase()))
    .sort(([a], [b]) => b.length - a.length)[0]?.[1];
  const own = file.rolls?.[roll];
  return [
    ...(own === undefined ? [] : [{ said: 'roll' as const, part: own }]),
    ...(camera === undefined ? [] : [{ said: 'camera' as const, part: camera }]),
    ...(file.show === undefined ? [] : [{ said: 'show' as const, part: file.show }]),
  ];
}
