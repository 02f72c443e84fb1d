/**
 * A handover held against what it should be: its files against its statement, the statement against the verdicts as they are now, and every file
 * against what the records give today, where it was written in the form of this program. Nothing lies in its folder unseen.
 */
import { createHash } from 'node:crypto';
import { basename, join } from 'node:path';
import { codeOf } from '../files/error-code.ts';
import { printable } from '../files/names.ts';
import { isSystemName } from '../files/system-files.ts';
import { walkFolder } from '../files/walk.ts';
import { type Finding, FindingError, finding } from '../findings/finding.ts';
import { linkAt, linkFinding } from '../ledger/delivery-links.ts';
import { OWN_PREFIX } from '../ledger/layout.ts';
import { digestOfPlain } from '../ledger/sidecars.ts';
import { readRecord } from '../ledger/store.ts';
import type { Day } from './day.ts';
import { contentsOf, handedOver } from './files.ts';
import { filesOfRoll, handedText } from './handed.ts';
import { HANDOVER, handoverLayout, isPageFile, pageLayout } from './layout.ts';
import { auditPages } from './pages-statement.ts';
import { readDay } from './read-day.ts';
import {
  HANDOVER_FORM,
  type HandoverStatement,
  handoverStatementSchema,
  type NamedFile,
} from './statement.ts';

const at = (path: string): { file: string } => ({ file: `${HANDOVER}/${path}` });

/** `dayFolder`: <delivery>/<day>. Files are named from there. Throws what node:fs throws where the day cannot be read. */
export async function auditHandover(dayFolder: string): Promise<Finding[]> {
  const folder = join(dayFolder, HANDOVER);
  const target = await linkAt(folder);
  if (target !== null) return [linkFinding(target, HANDOVER)];
  const day = await readDay(dayFolder);
  const pages = await auditPages({
    place: pageLayout.statement(dayFolder),
    folder,
    there: await pagesThere(dayFolder),
    rolls: day.rolls,
    below: `${HANDOVER}/`,
  });
  return [...pages, ...(await auditFiles(dayFolder, day))];
}

/** Pages, sheets and their records that lie there. */
async function pagesThere(dayFolder: string): Promise<string[]> {
  const own = basename(pageLayout.statement(dayFolder));
  try {
    const { files } = await walkFolder(join(dayFolder, HANDOVER), {
      skip: (path) => isSystemName(basename(path)),
    });
    return files.map(({ path }) => path).filter((path) => isPageFile(path) && path !== own);
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) return [];
    throw error;
  }
}

async function auditFiles(dayFolder: string, day: Day): Promise<Finding[]> {
  const folder = join(dayFolder, HANDOVER);
  const read = await readRecord(join(folder, handoverLayout.statement), handoverStatementSchema);
  if (read.state === 'absent') {
    const left = await strangers(folder, new Set());
    if (handedOver(day).length === 0) return left;
    return [
      finding('handover-absent', 'no handover', 'bins and lists of its rolls', { file: HANDOVER }),
      ...left,
    ];
  }
  if (read.state === 'damaged')
    return [finding('handover-damaged', read.finding.found, 'a statement', at(handoverLayout.statement))];
  const { value: statement } = read;
  const named = new Set(statement.subject.map(({ name }) => name));
  return [
    ...(await asWritten(folder, statement)),
    ...(await strangers(folder, named)),
    ...(await asDecided(dayFolder, day, statement)),
  ];
}

async function asWritten(folder: string, { subject }: HandoverStatement): Promise<Finding[]> {
  const found: Finding[] = [];
  for (const { name, digest } of subject) {
    const there = await digestOfPlain(join(folder, name));
    const expected = `SHA-256 ${digest.sha256}, as its statement says`;
    if (there === null) found.push(finding('handover-file-absent', 'no such file', expected, at(name)));
    else if (there.sha256 !== digest.sha256)
      found.push(finding('handover-file-differs', `SHA-256 ${there.sha256}`, expected, at(name)));
  }
  return found;
}

/** What lies there and no statement names. */
async function strangers(folder: string, named: ReadonlySet<string>): Promise<Finding[]> {
  let walk: Awaited<ReturnType<typeof walkFolder>>;
  try {
    walk = await walkFolder(folder, { skip: (path) => isSystemName(basename(path)) });
  } catch (error) {
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) return [];
    throw error;
  }
  const ours = new Set([...named, handoverLayout.statement]);
  const files = walk.files.map(({ path }) => path).filter((path) => !ours.has(path) && !isPageFile(path));
  return [
    ...files.filter((path) => !isSystemName(basename(path))).map(strangerFinding),
    ...walk.links.map(({ path, target }) => linkFinding(target, `${HANDOVER}/${path}`)),
    ...walk.others.map((path) =>
      finding('delivery-file-unexplained', 'a pipe, socket or device', 'files of a run only', at(path)),
    ),
    ...walk.unreadable.map(({ path, detail }) =>
      finding('delivery-file-unexplained', printable(detail), 'a folder that can be read', at(path)),
    ),
  ];
}

const strangerFinding = (path: string): Finding =>
  basename(path).startsWith(OWN_PREFIX)
    ? finding('staging-left', printable(basename(path)), 'published files only', at(path))
    : finding('delivery-file-foreign', printable(path), 'files of a run only', at(path));

async function asDecided(dayFolder: string, day: Day, statement: HandoverStatement): Promise<Finding[]> {
  const { predicate, subject } = statement;
  const outdated = (found: string, expected: string): Finding =>
    finding('handover-outdated', found, expected, at(handoverLayout.statement));
  if (predicate.earlier.length > 0) return [outdated('one that was not written to its end', 'a whole one')];
  const [then, now] = [
    predicate.rolls.map(({ roll, statement: { digest } }) => [roll, digest.sha256] as const),
    handedOver(day).map(({ roll, records }) => [roll, records.statement ?? ''] as const),
  ];
  const changed = differingRolls(new Map(then), new Map(now));
  if (changed.length > 0)
    return [
      outdated(
        `of ${then.length} rolls; other, or otherwise: ${changed.map(printable).join(', ')}`,
        `${now.length} rolls that are ready, as they are now`,
      ),
    ];
  if (predicate.form !== HANDOVER_FORM) return [];
  try {
    return await asRecorded(dayFolder, day, subject);
  } catch (error) {
    if (error instanceof FindingError) return [...error.findings];
    throw error;
  }
}

function differingRolls(then: ReadonlyMap<string, string>, now: ReadonlyMap<string, string>): string[] {
  return [...new Set([...then.keys(), ...now.keys()])]
    .filter((roll) => then.get(roll) !== now.get(roll))
    .sort();
}

/** Whoever rewrites a file and the statement with it has not rewritten the records. */
async function asRecorded(
  dayFolder: string,
  day: Day,
  subject: HandoverStatement['subject'],
): Promise<Finding[]> {
  const { files, rolls } = await contentsOf(dayFolder, day);
  const own: NamedFile[] = files.map(({ path, pieces }) => {
    const hash = createHash('sha256');
    for (const piece of pieces()) hash.update(piece);
    return { path, sha256: hash.digest('hex') };
  });
  const handed: NamedFile[] = [];
  for (const roll of rolls) handed.push(...(await filesOfRoll(dayFolder, roll)));
  const list = createHash('sha256').update(handedText(handed, own)).digest('hex');
  const expected = new Map(
    [...own, { path: handoverLayout.checksums, sha256: list }].map(({ path, sha256 }) => [path, sha256]),
  );
  const stated = new Map(subject.map(({ name, digest }) => [name, digest.sha256]));
  return [...new Set([...expected.keys(), ...stated.keys()])]
    .filter((path) => expected.get(path) !== stated.get(path))
    .sort()
    .map((path) =>
      finding(
        'handover-file-differs',
        stated.has(path) ? `SHA-256 ${stated.get(path)}, in the statement` : 'not in the statement',
        expected.has(path) ? `SHA-256 ${expected.get(path)}, by the records` : 'no such file, by the records',
        at(path),
      ),
    );
}
