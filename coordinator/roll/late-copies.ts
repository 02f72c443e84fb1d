/**
 * Copies that were verified after the night, in the verdict of a roll that is ready already. Nothing is made and no byte of a
 * deliverable is read: the gate decides again from the records as they lie there, with the further copies among them.
 *
 *   - a copy counts when it is verified now, holds the very files that the verdict is about, and is none of those that
 *     it names, under whatever path it is mounted now
 *   - a copy that fails is reported, and changes no verdict: what was made is what it was
 *   - a verdict that is held, or whose records do not give `ready` again, takes no copy
 */
import { stat } from 'node:fs/promises';
import { append } from '../../findings/append.ts';
import { codeOf } from '../../files/error-code.ts';
import { mountsHere } from '../../files/mounts.ts';
import { fsPath, printable } from '../../files/names.ts';
import { walkFolder } from '../../files/walk.ts';
import { blocks, type Finding, finding } from '../../findings/finding.ts';
import { filesOfPlace } from '../../ledger/clip.ts';
import { contentDigest } from '../../ledger/content-digest.ts';
import { linksToRecords } from '../../ledger/delivery-links.ts';
import { layout } from '../../ledger/layout.ts';
import { envelopeSchema } from '../../ledger/provenance/envelope.ts';
import {
  copyWithPlaces,
  findingsWithPlaces,
  intakeWithPlaces,
  type Mounts,
  placeHere,
  placeName,
} from '../../ledger/portable.ts';
import { type CopyResult, countCopies, type RollVerdict, rollVerdictSchema } from '../../ledger/roll.ts';
import { readRecord } from '../../ledger/store.ts';
import { gateInputOf, readRecords } from '../audit/records.ts';
import { decideRoll } from '../gate/decide.ts';
import { writeDecision } from '../gate/disk.ts';
import { unaccountedFiles } from '../gate/file-accounting.ts';
import { relationOf } from '../intake/apart.ts';
import { placeOfCopy } from '../intake/place.ts';
import type { CopyAsRead, ReadRoll } from '../intake/since.ts';

export interface LateCopies {
  readonly roll: string;
  /** Folders of the copies that were added. */
  readonly added: readonly string[];
  /** How many the verdict counts now; null: there is no verdict that is ready. */
  readonly copies: number | null;
  readonly findings: readonly Finding[];
}

/** `mounts`: by which records name places. Throws what node:fs throws where a record cannot be written. */
export async function addLateCopies(
  intake: ReadRoll,
  rollFolder: string,
  mounts: Mounts,
): Promise<LateCopies> {
  const { roll } = intake;
  const refused = (found: string, expected: string, copy?: string): Finding =>
    finding('copy-not-added', found, expected, { roll, ...(copy === undefined ? {} : { copy }) });
  const read = await readRecord(layout.verdict(rollFolder), rollVerdictSchema);
  if (read.state !== 'read' || read.value.verdict !== 'ready') {
    const why =
      read.state === 'absent' ? 'no roll.json' : read.state === 'damaged' ? read.finding.found : 'held';
    return { roll, added: [], copies: null, findings: [refused(why, 'a roll that is ready')] };
  }
  const verdict = read.value;
  const findings: Finding[] = [];
  const added: CopyResult[] = [];
  for (const copy of intake.copies) {
    if (verdict.copies.some((earlier) => isNamed(earlier, copy, mounts))) continue;
    const asRead = intake.asRead.find(({ folder }) => folder === copy.folder);
    // What is wrong with it is found already.
    if (!copy.verified || asRead === undefined) continue;
    const other = contentFault(verdict, asRead);
    if (other !== null) {
      findings.push(refused(other, 'the files that the verdict is about', copy.folder));
      continue;
    }
    const known = [...verdict.copies, ...added];
    const told = await againstRecorded(copy, asRead, known, mounts);
    append(
      findings,
      told.findings.map((item) => ({ ...item, roll })),
    );
    if (!told.findings.some(blocks))
      added.push(copyWithPlaces(told.oneWith === null ? copy : { ...copy, oneWith: told.oneWith }, mounts));
  }
  if (added.length === 0) return { roll, added: [], copies: countCopies(verdict.copies), findings };
  const links = await linksToRecords(rollFolder, roll);
  if (links.length > 0)
    return { roll, added: [], copies: countCopies(verdict.copies), findings: [...findings, ...links] };

  const isSigned = (await readRecord(layout.envelope(rollFolder), envelopeSchema)).state !== 'absent';
  const named = intakeWithPlaces(intake, mounts);
  const records = await readRecords(rollFolder, withCopies(verdict, named, added));
  const noted = findingsWithPlaces([...findings, ...intake.findings], mounts).filter(
    (item) => !blocks(item) && added.some(({ folder }) => folder === item.copy),
  );
  const decision = decideRoll({
    ...gateInputOf(records, [...verdict.findings, ...records.findings, ...noted]),
    decidedAt: new Date().toISOString(),
  });
  if (decision.verdict.verdict !== 'ready') {
    const why = decision.verdict.findings.filter(blocks).map(({ code }) => code);
    findings.push(
      refused(`the records of the roll do not give ready again: ${[...new Set(why)].join(', ')}`, 'ready'),
    );
    return { roll, added: [], copies: countCopies(verdict.copies), findings };
  }
  await writeDecision(rollFolder, decision, records);
  if (isSigned && (await readRecord(layout.envelope(rollFolder), envelopeSchema)).state === 'absent')
    findings.push(finding('signature-removed', 'a statement of more copies', 'a signature of it', { roll }));
  return {
    roll,
    added: added.map(({ folder }) => folder),
    copies: countCopies(decision.verdict.copies),
    findings,
  };
}

/** By either name, since the run may have named no volumes; by its files, where this machine does not know the volume that the run named. */
function isNamed(earlier: CopyResult, copy: CopyResult, mounts: Mounts): boolean {
  const { folder, seen } = earlier;
  if (placeHere(folder, mounts) === null) return seen !== undefined && seen === copy.seen;
  return folder === copy.folder || folder === placeName(copy.folder, mounts);
}

/** The verdict as it is decided from then on. */
function withCopies(
  verdict: RollVerdict,
  intake: Pick<ReadRoll, 'manifests'>,
  added: readonly CopyResult[],
): RollVerdict {
  const known = new Set(verdict.manifests.map(({ file }) => file));
  return {
    ...verdict,
    copies: [...verdict.copies, ...added],
    copiesAsked: (verdict.copiesAsked ?? verdict.copies.length) + added.length,
    manifests: [...verdict.manifests, ...intake.manifests.filter(({ file }) => !known.has(file))],
  };
}

/** Whether a copy holds the files that were made from, every one and no other; null: it does. */
function contentFault({ clips, unused = [], otherFiles }: RollVerdict, { files }: CopyAsRead): string | null {
  const byPath = new Map(files.map((file) => [file.path, file]));
  for (const { clip } of clips) {
    const own = filesOfPlace(clip.place).flatMap((path) => byPath.get(path) ?? []);
    if (contentDigest(own) !== clip.contentDigest) return `other bytes of ${printable(clip.name)}`;
  }
  const [strange] = unaccountedFiles(files, [...clips.map(({ clip }) => clip), ...unused], otherFiles);
  return strange === undefined ? null : `a file that the verdict does not know: ${printable(strange)}`;
}

/** Against the copies of the record, which were read on another day and may be anywhere now. */
async function againstRecorded(
  copy: CopyResult,
  { files }: CopyAsRead,
  recorded: readonly CopyResult[],
  named: Mounts,
): Promise<{ oneWith: string | null; findings: Finding[] }> {
  const about = { copy: copy.folder };
  const mounts = await mountsHere();
  const paths = files.map(({ path }) => path);
  const mine = await placeOfCopy(copy.folder, paths, mounts);
  const findings: Finding[] = [];
  let oneWith = copy.oneWith ?? null;
  for (const earlier of recorded) {
    if (copy.seen !== undefined && copy.seen === earlier.seen) {
      const found = `the files of ${printable(earlier.folder)}, by their numbers and times`;
      findings.push(finding('copy-same-place', found, 'a copy of its own', about));
      continue;
    }
    const here = placeHere(earlier.folder, named);
    if (here === null || !(await isThere(here))) {
      // Numbers on one side alone: two kinds of file system, and so two.
      if (copy.seen === undefined && earlier.seen === undefined) {
        oneWith ??= earlier.folder;
        const why = `neither file system has numbers that last, and ${printable(earlier.folder)} is not mounted now`;
        findings.push(
          finding('copy-not-told-apart', why, 'a copy that can be told apart from the others', about),
        );
      }
      continue;
    }
    const walk = await walkFolder(here);
    const theirs = await placeOfCopy(
      here,
      walk.files.map(({ path }) => path),
      mounts,
    );
    const relation = relationOf(mine, theirs);
    const beside = printable(earlier.folder);
    if (relation.kind === 'same')
      findings.push(
        finding(
          'copy-same-file',
          `${relation.files.length} of ${paths.length} files are files of ${beside}`,
          'files of its own',
          about,
        ),
      );
    else if (relation.kind === 'unknown') {
      oneWith ??= earlier.folder;
      findings.push(
        finding(
          'copy-not-told-apart',
          `${printable(relation.why)}; compared with ${beside}`,
          'a copy that can be told apart from the others',
          about,
        ),
      );
    } else if (relation.kind === 'one-drive')
      findings.push(
        finding(
          'copy-same-drive',
          `on ${printable(relation.why)}, as ${beside}`,
          'a drive of its own',
          about,
        ),
      );
  }
  return { oneWith, findings };
}

async function isThere(folder: string): Promise<boolean> {
  try {
    return (await stat(fsPath(folder))).isDirectory();
  } catch (error) {
    if (codeOf(error) === '') throw error;
    return false;
  }
}
