/**
 * Writes the handover of a day, and leaves what is the same already:
 *
 *   1. every file is staged beside its name, and its digest taken from disk
 *   2. where anything differs, a statement is written that names the new files and, as `earlier`, those that stand
 *   3. each file gets its name; one that neither statement names is somebody's, and stays
 *   4. files that are handed over no more are removed, those of ours alone
 *   5. the statement is written without `earlier`
 *
 * After a crash at any step the next one finds by the statement which files are ours.
 */
import { open, rm, rmdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { belongToFolder } from '../files/belonging.ts';
import { digestOfFile, type FileDigest } from '../files/digest.ts';
import { makeFolders } from '../files/folders.ts';
import { fsPath, printable } from '../files/names.ts';
import { publishFile } from '../files/publish.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { linkAt, linkFinding } from '../ledger/delivery-links.ts';
import { layout, placeBelow, STAGING_PREFIX } from '../ledger/layout.ts';
import { newToken } from '../ledger/owner.ts';
import { rollVerdictSchema } from '../ledger/roll.ts';
import { digestOfPlain } from '../ledger/sidecars.ts';
import { readRecord, recordBytes, writeWhole } from '../ledger/store.ts';
import { contentsOf, handedOver, type HandoverFile } from './files.ts';
import { filesOfRoll, handedText } from './handed.ts';
import { HANDOVER, handoverLayout } from './layout.ts';
import { readDay } from './read-day.ts';
import {
  handoverStatement,
  handoverStatementSchema,
  type HandoverStatement,
  type NamedFile,
} from './statement.ts';

export interface HandoverWritten {
  /** Below `handover`; files that got their name now. */
  readonly written: readonly string[];
  readonly removed: readonly string[];
  /** Rolls that are handed over, by name. */
  readonly rolls: readonly string[];
  readonly findings: readonly Finding[];
}

interface Staged {
  readonly path: string;
  readonly staged: string;
  readonly checked: FileDigest;
}

/** Characters that are written at a time. */
const CHUNK = 256_000;

async function stage(folder: string, { path, pieces }: HandoverFile): Promise<Staged> {
  const final = join(folder, path);
  await makeFolders(dirname(final));
  const staged = join(dirname(final), `${STAGING_PREFIX}${newToken()}`);
  const handle = await open(fsPath(staged), 'wx');
  try {
    let buffered: string[] = [];
    let length = 0;
    const flush = async (): Promise<void> => {
      const text = buffered.join('');
      [buffered, length] = [[], 0];
      if (text !== '') await handle.writeFile(text);
    };
    for (const piece of pieces()) {
      if (typeof piece === 'string') {
        buffered.push(piece);
        length += piece.length;
        if (length > CHUNK) await flush();
      } else {
        await flush();
        await handle.writeFile(piece);
      }
    }
    await flush();
    await belongToFolder(handle, dirname(final));
    await handle.sync();
  } finally {
    await handle.close();
  }
  return { path, staged, checked: await digestOfFile(staged) };
}

const namedIn = (statement: HandoverStatement | null): NamedFile[] =>
  (statement === null ? [] : [...statement.subject, ...statement.predicate.earlier]).map(
    ({ name, digest }) => ({
      path: name,
      sha256: digest.sha256,
    }),
  );

/** The statement as it lies there; null: none that can be read. */
export async function readHandover(folder: string): Promise<HandoverStatement | null> {
  const read = await readRecord(join(folder, handoverLayout.statement), handoverStatementSchema);
  return read.state === 'read' ? read.value : null;
}

/** `dayFolder`: <delivery>/<day>. Throws what node:fs throws where it cannot be written, and FindingError where the records do not give it. */
export async function publishHandover(dayFolder: string): Promise<HandoverWritten> {
  const folder = join(dayFolder, HANDOVER);
  const target = await linkAt(folder);
  if (target !== null)
    return { written: [], removed: [], rolls: [], findings: [linkFinding(target, HANDOVER)] };
  // A roll of that name, from before the name was reserved, keeps its folder.
  if ((await readRecord(layout.verdict(folder), rollVerdictSchema)).state !== 'absent')
    return {
      written: [],
      removed: [],
      rolls: [],
      findings: [finding('roll-name-reserved', HANDOVER, 'a roll of another name', { roll: HANDOVER })],
    };
  const day = await readDay(dayFolder);
  const before = await readHandover(folder);
  // A day of which nothing is ready has no handover; one that had gets an empty one, so that nobody takes the old for the new.
  if (handedOver(day).length === 0 && before === null)
    return { written: [], removed: [], rolls: [], findings: [] };
  const contents = await contentsOf(dayFolder, day);
  const handed: NamedFile[] = [];
  for (const roll of contents.rolls) handed.push(...(await filesOfRoll(dayFolder, roll)));
  await makeFolders(folder);
  const staged: Staged[] = [];
  try {
    for (const file of contents.files) staged.push(await stage(folder, file));
    const own = (files: readonly Staged[]): NamedFile[] =>
      files.map(({ path, checked }) => ({ path, sha256: checked.sha256 }));
    const list = handedText(handed, own(staged));
    staged.push(await stage(folder, { path: handoverLayout.checksums, pieces: () => [list] }));
    const parts = { day: day.day, rolls: contents.rolls, left: contents.left, files: own(staged) };
    return {
      ...(await nameAll({ folder, staged, before, parts })),
      rolls: contents.rolls.map(({ roll }) => roll),
    };
  } finally {
    for (const { staged: path } of staged) await rm(fsPath(path), { force: true });
  }
}

interface Naming {
  readonly folder: string;
  readonly staged: readonly Staged[];
  readonly before: HandoverStatement | null;
  readonly parts: Omit<Parameters<typeof handoverStatement>[0], 'earlier'>;
}

async function nameAll({ folder, staged, before, parts }: Naming): Promise<Omit<HandoverWritten, 'rolls'>> {
  const ours = namedIn(before);
  const isOurs = (path: string, sha256: string): boolean =>
    ours.some((one) => one.path === path && one.sha256 === sha256);
  const findings: Finding[] = [];
  const due: (Staged & { readonly there: FileDigest | null })[] = [];
  for (const file of staged) {
    const there = await digestOfPlain(join(folder, file.path));
    if (there?.sha256 === file.checked.sha256) continue;
    if (there !== null && !isOurs(file.path, there.sha256))
      findings.push(taken(file.path, `${there.bytes} bytes, SHA-256 ${there.sha256}`));
    else due.push({ ...file, there });
  }
  const wanted = new Set(staged.map(({ path }) => path));
  const obsolete = ours.filter(({ path }) => !wanted.has(path));
  const write = async (earlier: readonly NamedFile[]): Promise<void> => {
    const bytes = recordBytes(handoverStatementSchema, handoverStatement({ ...parts, earlier }));
    if (before === null || !recordBytes(handoverStatementSchema, before).equals(bytes) || due.length > 0)
      await writeWhole(join(folder, handoverLayout.statement), bytes);
  };
  if (due.length + obsolete.length > 0) await write(ours);
  const written: string[] = [];
  for (const { path, staged: from, checked, there } of due) {
    const outcome = await publishFile({
      staged: from,
      final: join(folder, path),
      checked,
      isOurs: (xxh128) => there !== null && xxh128 === there.xxh128,
    });
    if (outcome.kind === 'taken') findings.push(taken(path, outcome.found));
    else written.push(path);
  }
  const removed: string[] = [];
  for (const { path } of obsolete) {
    const place = placeBelow(folder, path);
    const there = place === null ? null : await digestOfPlain(place);
    if (place === null || there === null || !isOurs(path, there.sha256)) continue;
    await rm(fsPath(place), { force: true });
    removed.push(path);
    await rmdir(fsPath(dirname(place))).catch(() => undefined);
  }
  // Where a name is taken the next one must still know what is ours.
  await write(findings.length > 0 ? ours : []);
  return { written, removed, findings };
}

const taken = (path: string, found: string): Finding =>
  finding('handover-name-taken', printable(found), 'a file that we wrote, or none', {
    file: `${HANDOVER}/${path}`,
  });
