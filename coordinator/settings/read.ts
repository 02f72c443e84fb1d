/** Reads the settings file: every departure as a finding with file and line. Files that it names are read and named by their content. */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { basename, dirname, extname, resolve } from 'node:path';
import type { z } from 'zod';
import { append } from '../../findings/append.ts';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { type DeclaredDecoders, loadDecoders } from '../../media/raw/decoders/declared/all.ts';
import { LIBRAW_DECODER, OWN_DECODER } from '../../media/raw/decoders/names.ts';
import { findingAt, type Path, readProfile } from '../../profiles/document.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { resolveLooks } from './resolve-looks.ts';
import { type SettingsFile, type WrittenPart, type WrittenSettings, settingsSchema } from './schema.ts';
import type { TransformFile } from './transform-file.ts';

export interface Settings {
  /** null: the night has none. */
  readonly origin: string | null;
  readonly file: SettingsFile;
  /** By SHA-256. */
  readonly transforms: ReadonlyMap<string, TransformFile>;
  readonly decoders: DeclaredDecoders;
  /** Every profile that any level asks for, as `loadProfiles` takes it: a name or the full path of a file. In `file` they stand by name. */
  readonly profiles: readonly string[];
}

export const noSettings: Settings = {
  origin: null,
  file: { version: 1 },
  transforms: new Map(),
  decoders: { raw: [], pictures: [] },
  profiles: [],
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
  const values = apart(document.values) as Record<string, unknown>;
  const old = oldShape(values, at);
  if (old.length > 0) throw new FindingError(old, 2);
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
  // Before the whole is held against its form: everything that is wrong is said at once.
  const asked = await profilesAsked(values, folder, at);
  append(findings, asked.findings);
  const parsed = settingsSchema.safeParse(values);
  if (!parsed.success) findings.push(...parsed.error.issues.map((issue) => fromIssue(issue, values, at)));
  if (!parsed.success) throw new FindingError(findings, 2);
  append(findings, namesAndDecoders(parsed.data, at));
  const { findings: ofDecoders, ...decoders } = await loadDecoders(
    (parsed.data.decoders ?? []).map((name) => resolve(folder, name)),
  );
  findings.push(...ofDecoders);
  // Names of decoders that could not be read are not known.
  if (ofDecoders.length === 0) findings.push(...nameFindings(values, decoders, at));
  const looks = await resolveLooks(parsed.data, folder, at);
  append(findings, looks.findings);
  for (const one of looks.transforms) transforms.set(one.sha256, one);
  if (findings.length > 0) throw new FindingError(findings, 2);
  return { origin: document.origin, file: looks.file, transforms, decoders, profiles: asked.wanted };
}

type Locate = (where: Path) => Parameters<typeof findingAt>[1];

/** A copy in which what an alias repeats is an object of its own: each is completed in its place. */
function apart(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(apart);
  return isGroup(value)
    ? Object.fromEntries(Object.entries(value).map(([name, item]) => [name, apart(item)]))
    : value;
}

/** Cameras were fields named by letters once: what such a file means can be said in the form of today, and how is said here. */
function oldShape(values: Readonly<Record<string, unknown>>, at: Locate): Finding[] {
  const { cameras } = values;
  if (!isGroup(cameras)) return [];
  return Object.keys(cameras).map((name) =>
    findingAt(
      'settings-shape-old',
      at(['cameras', name]),
      `a camera as a field, \`${name}:\``,
      `an entry of a list: \`- name: ${name}\`, below it \`known_by: { rolls: ['${name}#*'] }\` and its settings`,
    ),
  );
}

/** Loads what is named, so that a wrong name has its line, and puts each profile's own name in the place of its file's. */
async function profilesAsked(
  values: Record<string, unknown>,
  folder: string,
  at: Locate,
): Promise<{ readonly wanted: string[]; readonly findings: Finding[] }> {
  const wanted = new Set<string>();
  const findings: Finding[] = [];
  for (const { part, where } of partsIn(values)) {
    const { profiles } = part as { profiles?: unknown };
    if (!Array.isArray(profiles)) continue;
    const names: string[] = [];
    for (const [index, named] of (profiles as unknown[]).entries()) {
      // No name at all: that is for the form to say.
      if (typeof named !== 'string' || named === '') return { wanted: [], findings };
      const asked = /\.ya?ml$/i.test(named) ? resolve(folder, named) : named;
      const { profiles: loaded, findings: wrong } = await loadProfiles({ wanted: [asked] });
      const [one] = loaded;
      const place = at([...where, 'profiles', index]);
      if (one === undefined || wrong.length > 0) {
        for (const item of wrong)
          findings.push(
            item.code === 'profile-missing'
              ? findingAt('settings-value-wrong', place, `no profile ${item.found}`, item.expected)
              : item,
          );
        names.push(named);
        continue;
      }
      if (names.includes(one.profile.name))
        findings.push(
          findingAt('settings-value-wrong', place, `${one.profile.name}, for the second time`, 'each once'),
        );
      names.push(one.profile.name);
      wanted.add(asked);
    }
    Object.assign(part, { profiles: names });
  }
  return { wanted: [...wanted], findings };
}

/** Every camera has a name of its own, and a decoder is stated only where it is known before the files are read. */
function namesAndDecoders({ show, cameras = [], rolls = {} }: WrittenSettings, at: Locate): Finding[] {
  const findings: Finding[] = [];
  const early = 'a decoder for the show, a roll, or a camera that is known by its rolls alone';
  for (const [index, { name, known_by: known, raw }] of cameras.entries()) {
    if (cameras.findIndex((other) => other.name === name) !== index)
      findings.push(
        findingAt(
          'settings-value-wrong',
          at(['cameras', index, 'name']),
          `a second camera called ${name}`,
          'a name of its own',
        ),
      );
    if (
      raw?.decoder !== undefined &&
      (known.make !== undefined || known.model !== undefined || known.serial !== undefined)
    )
      findings.push(
        findingAt(
          'settings-value-wrong',
          at(['cameras', index, 'raw', 'decoder']),
          'the decoder of a camera that is known by what its files say',
          early,
        ),
      );
  }
  append(findings, spannedFindings({ show, cameras, rolls }, at));
  for (const [roll, { clips = {} }] of Object.entries(rolls))
    for (const [clip, { raw }] of Object.entries(clips))
      if (raw?.decoder !== undefined)
        findings.push(
          findingAt(
            'settings-value-wrong',
            at(['rolls', roll, 'clips', clip, 'raw', 'decoder']),
            'the decoder of one clip',
            early,
          ),
        );
  return findings;
}

/** Which files make a clip is decided by names, before any is read; the parts of a clip are the clip's. */
function spannedFindings(
  { show, cameras = [], rolls = {} }: Pick<WrittenSettings, 'show' | 'cameras' | 'rolls'>,
  at: Locate,
): Finding[] {
  const wrong = (where: Path, found: string, expected: string): Finding =>
    findingAt('settings-value-wrong', at([...where, 'spanned']), found, expected);
  const findings = cameras.flatMap(({ known_by: known, spanned }, index) =>
    spanned !== undefined &&
    (known.make !== undefined || known.model !== undefined || known.serial !== undefined)
      ? [
          wrong(
            ['cameras', index],
            'spanned recordings of a camera that is known by what its files say',
            'a camera that is known by its rolls alone',
          ),
        ]
      : [],
  );
  const farther = [
    { part: show, where: ['show'] },
    ...cameras.map((part, index) => ({ part, where: ['cameras', index] })),
    ...Object.entries(rolls).map(([roll, part]) => ({ part, where: ['rolls', roll] })),
  ];
  for (const { part, where } of farther)
    if (part?.spanned?.parts !== undefined)
      findings.push(wrong(where, 'the parts of a recording', 'parts under the clip that they make'));
  for (const [roll, { clips = {} }] of Object.entries(rolls))
    for (const [clip, { spanned }] of Object.entries(clips))
      if (Array.isArray(spanned?.names))
        findings.push(
          wrong(['rolls', roll, 'clips', clip], 'patterns of names for one clip', 'suffix, none, or parts'),
        );
  return findings;
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
    const named = (part as WrittenPart).raw?.decoder;
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

const isGroup = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

/** Every part of every level, with its place in the file. */
function* partsIn(values: Record<string, unknown>): Generator<{ part: object; where: Path }> {
  const { show, cameras, rolls } = values;
  if (isGroup(show)) yield { part: show, where: ['show'] };
  if (Array.isArray(cameras))
    for (const [index, part] of (cameras as unknown[]).entries())
      if (isGroup(part)) yield { part, where: ['cameras', index] };
  if (!isGroup(rolls)) return;
  for (const [roll, part] of Object.entries(rolls)) {
    if (!isGroup(part)) continue;
    yield { part, where: ['rolls', roll] };
    if (isGroup(part.clips))
      for (const [clip, ofClip] of Object.entries(part.clips))
        if (isGroup(ofClip)) yield { part: ofClip, where: ['rolls', roll, 'clips', clip] };
  }
}

function valueAt(values: unknown, path: Path): unknown {
  return path.reduce<unknown>(
    (value, part) =>
      typeof value === 'object' && value !== null
        ? (value as Record<string | number, unknown>)[part]
        : undefined,
    values,
  );
}

const isLookPath = (path: Path): boolean => path.at(-1) === 'cdl' || path.at(-1) === 'look';

function fromIssue(
  issue: z.core.$ZodIssue,
  values: unknown,
  at: (where: Path) => { origin: string; line: number; field: string },
): Finding {
  const path = issue.path as Path;
  // Of several forms, what is wrong in the one that was meant: the first that the value is not no form of at all.
  const meant =
    issue.code === 'invalid_union'
      ? issue.errors.find((list) => list.every((one) => one.path.length > 0 || one.code !== 'invalid_value'))
      : undefined;
  const [inner] = meant ?? [];
  if (inner !== undefined && isLookPath(path))
    return fromIssue({ ...inner, path: [...issue.path, ...inner.path] }, values, at);
  if (issue.code === 'unrecognized_keys')
    return findingAt(
      'settings-value-wrong',
      at([...path, issue.keys[0] ?? '']),
      `no field ${issue.keys.join(', ')}`,
      'fields that docs/settings.md names',
    );
  // Rules of our own say what they expect.
  if (issue.code === 'custom' || issue.code === 'invalid_format')
    return findingAt(
      'settings-value-wrong',
      at(path),
      JSON.stringify(valueAt(values, path)) ?? 'nothing',
      issue.code === 'custom' ? issue.message : `${issue.message} (docs/settings.md)`,
    );
  return findingAt('settings-value-wrong', at(path), issue.message, 'a value that docs/settings.md names');
}
