/**
 * What lies in a roll's delivery folder besides that which its verdict is about. A run asks before it decides, an audit asks
 * again: nothing may lie there unseen, and a ready roll has no media and no record that nobody can explain.
 */
import { readdir, readFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { aFewAtOnce, digestOfDeliverable, isFolderDigest } from '../../files/folder-digest.ts';
import { codeOf } from '../../files/error-code.ts';
import { fsPath, nameFromBytes, printable } from '../../files/names.ts';
import { isCompanionName, isSystemName, isSystemPath } from '../../files/system-files.ts';
import { walkFolder } from '../../files/walk.ts';
import { FindingTally } from '../../findings/tally.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import { linkFinding } from '../../ledger/delivery-links.ts';
import { layout, placeBelow, STAGING_PREFIX } from '../../ledger/layout.ts';
import { clipReportSchema, type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { sidecarDigests } from '../../ledger/sidecars.ts';
import type { StillsOnDisk } from '../../ledger/stills.ts';
import { readRecord } from '../../ledger/store.ts';
import { readSamples } from '../../proof/pixel-sample-file.ts';
import { readSketch } from '../../proof/sketch/file.ts';
import { FingerprintError, readFingerprints } from '../../proof/source-fingerprints.ts';
import { isMediaName } from '../intake/discover.ts';
import { sha256Of } from '../provenance/parts.ts';
import { contentsOf } from '../survey/signatures.ts';
import { coversAny } from './file-accounting.ts';
import { type DeliverableOnDisk, deliverableKey } from './input.ts';
import { judgeStillFiles } from './stills.ts';

export interface DeliveryQuestion {
  readonly rollFolder: string;
  readonly roll: string;
  /** `due`: names of the profiles that the verdict asks of it. */
  readonly clips: readonly {
    readonly clip: Clip;
    readonly due: readonly string[];
    /** Whether the gate asks for its stills. */
    readonly stillsDue: boolean;
  }[];
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** Of the clips' stills, whether they are due or not. */
  readonly stills: ReadonlyMap<string, StillsOnDisk>;
  /** Files of the roll that are no clips. */
  readonly otherFiles: readonly string[];
  readonly signal?: AbortSignal;
}

/** Of all that `deliveryContents` says: what an audit measures again, so that an older word on it counts no more. */
export const contentCodes: ReadonlySet<string> = new Set([
  'file-not-listed',
  'staging-left',
  'delivery-file-unexplained',
  'link-in-delivery',
  'delivery-file-foreign',
  'clip-report-left',
  'deliverable-earlier',
  'deliverable-earlier-differs',
]);

const REPORTS = 'reports';
const DELIVERABLE_REPORTS = 'reports/deliverables';
/** Records that are named by their content. */
const NAMED_BY_CONTENT = /^reports\/(fingerprints|sketches|samples|checksums|transforms)\/[^/]+$/;
const TOP_RECORDS: ReadonlySet<string> = new Set(['roll.json', 'statement.json', 'statement.dsse.json']);
const RECORD_NAME = /\.(?:json|fingerprints|sketch|samples|sha256)$/i;

/** Throws the signal's reason when stopped. A folder that is not there holds nothing. */
export async function deliveryContents(question: DeliveryQuestion): Promise<Finding[]> {
  const { rollFolder, roll, clips, onDisk, signal } = question;
  const found = new FindingTally();
  const explained = new Set<string>(TOP_RECORDS);
  for (const { clip, due } of clips) {
    explained.add(layout.clipReport('', clip.id));
    for (const profile of due) explained.add(layout.deliverableReport('', clip.id, profile));
  }
  explainStills(question, explained, found);
  const required = [...onDisk.values()].flatMap(({ report }) => (report === null ? [] : [report]));
  for (const report of required) explain(report, explained);
  const requiredFiles = new Set(required.flatMap(({ file }) => (file === null ? [] : [file.path])));

  const earlier = await earlierReports(question, explained, found);
  for (const report of earlier) explain(report, explained);
  found.addAll(
    await judgeEarlier(
      earlier.filter(({ file }) => file !== null && !requiredFiles.has(file.path)),
      question,
    ),
  );

  const profileFolders = new Set([
    ...clips.flatMap(({ due }) => due),
    ...earlier.map(({ profile }) => profile),
  ]);
  const parts = (path: string): string[] => path.split('/');
  const inProfile = (path: string): boolean => profileFolders.has(parts(path)[0] as string);
  let walk: Awaited<ReturnType<typeof walkFolder>>;
  try {
    walk = await walkFolder(rollFolder, {
      // A deliverable is one thing, file or folder; the frames of a folder are held against its checksum list.
      skip: (path) =>
        (inProfile(path) && parts(path).length === 2) || isSystemName(basename(path)) || isUnfinished(path),
      ...(signal === undefined ? {} : { signal }),
    });
  } catch (error) {
    signal?.throwIfAborted();
    if (['ENOENT', 'ENOTDIR'].includes(codeOf(error))) return found.findings();
    found.add(unexplained(codeOf(error) || (error as Error).message, { roll }));
    return found.findings();
  }

  const inside = walk.folders.filter(
    (path) => (inProfile(path) && parts(path).length === 2) || isUnfinished(path),
  );
  const system = walk.folders.filter((path) => isSystemName(basename(path)));
  const files = walk.files.map(({ path }) => path);
  const unknown = files.filter((path) => !explained.has(path));
  const unread = new Map<string, string>();
  const media = await contentsOf(rollFolder, [...unknown, ...system], (path, code) => unread.set(path, code));
  const isMedia = (path: string): boolean =>
    media.has(path) || (!isCompanionName(basename(path)) && isMediaName(path));
  const findingsOf = async (path: string): Promise<readonly Finding[]> => {
    const subject = { roll, file: path };
    const name = basename(path);
    if (isUnfinished(path))
      return [finding('staging-left', printable(name), 'published files only', subject)];
    const why = unread.get(path);
    // What nobody could look into is not taken for a letter, nor for what a system leaves.
    if (why !== undefined && !['ENOENT', 'EISDIR'].includes(why))
      return [unexplained(`it cannot be read (${why})`, subject)];
    if (isSystemPath(path) && !isMedia(path)) {
      system.push(path);
      return [];
    }
    if (inProfile(path)) {
      const profile = parts(path)[0] as string;
      return [finding('file-not-listed', printable(name), 'listed files only', { ...subject, profile })];
    }
    if (NAMED_BY_CONTENT.test(path))
      return (await isNamedByContent(rollFolder, path))
        ? []
        : [unexplained('a record that no report names, and not what its name says', subject)];
    if (/^reports\/[^/]+\.json$/.test(path)) return await judgeClipReport(path, question);
    if (isMedia(path)) return [unexplained(media.get(path)?.form ?? printable(name), subject)];
    if (parts(path)[0] === REPORTS || RECORD_NAME.test(name))
      return [unexplained(`a record that no run wrote: ${printable(name)}`, subject)];
    return [finding('delivery-file-foreign', printable(name), 'files of a run only', subject)];
  };
  for (const path of [...unknown, ...inside.filter((one) => !explained.has(one))])
    found.addAll(await findingsOf(path));
  for (const path of system.filter((one) => media.has(one)))
    found.add(unexplained(media.get(path)?.form ?? '', { roll, file: path }));
  for (const { path, target } of walk.links)
    found.add(
      inProfile(path) || parts(path)[0] === REPORTS || explained.has(path)
        ? linkFinding(target, path, roll)
        : unexplained(`a link to ${printable(target)}`, { roll, file: path }),
    );
  for (const path of walk.others) found.add(unexplained('a pipe, socket or device', { roll, file: path }));
  for (const { path, detail } of walk.unreadable.filter((one) => !isSystemPath(one.path)))
    found.add(unexplained(printable(detail), { roll, file: path }));
  const left = system.filter((one) => !media.has(one));
  if (left[0] !== undefined)
    found.add(
      finding(
        'system-files-left',
        `${left.length} in all, the first ${printable(left[0])}`,
        'files of a run only',
        {
          roll,
          file: rollFolder,
        },
      ),
    );
  return found.findings();
}

/** Of a run at work, or of one that was killed. */
const isUnfinished = (path: string): boolean =>
  basename(path).startsWith(STAGING_PREFIX) || path === layout.jobPartsFolder('');

function unexplained(what: string, subject: FindingSubject): Finding {
  return finding('delivery-file-unexplained', what, 'files that a report names', subject);
}

/** What the report names. */
function explain(
  { file, sidecars = [], fingerprints, errorSketch, checksumList }: DeliverableReport,
  explained: Set<string>,
): void {
  for (const named of [file, ...sidecars, fingerprints, errorSketch, checksumList])
    if (named !== null && named !== undefined) explained.add(named.path);
}

/** Each with the bytes of its record. Those that a run made and nobody asks for now are kept, and read like all the others. */
function explainStills(
  { stills, clips, roll }: DeliveryQuestion,
  explained: Set<string>,
  found: FindingTally,
): void {
  for (const { clip, stillsDue } of clips) {
    const disk = stills.get(clip.id);
    if (disk === undefined) continue;
    const path = layout.stillsReport('', clip.id);
    if (disk.damage !== null && !stillsDue) found.add({ ...disk.damage, roll, clip: clip.id, file: path });
    if (disk.report !== null || disk.damage !== null) explained.add(path);
    const { report } = disk;
    if (report === null || report.clip.id !== clip.id) continue;
    for (const still of report.stills) explained.add(still.path);
    if (!stillsDue && report.state === 'published') found.addAll(judgeStillFiles({ ...disk, report }, roll));
  }
}

async function namesIn(folder: string): Promise<string[]> {
  try {
    return (await readdir(fsPath(folder), { encoding: 'buffer' })).map(nameFromBytes).sort();
  } catch (error) {
    if (codeOf(error) === '') throw error;
    // What cannot be listed is found by the walk.
    return [];
  }
}

/** Reports of deliverables that the verdict is not about. Each that can be read is explained; what cannot is said. */
async function earlierReports(
  { rollFolder, roll, clips }: DeliveryQuestion,
  explained: Set<string>,
  found: FindingTally,
): Promise<DeliverableReport[]> {
  const required = new Set(
    clips.flatMap(({ clip, due }) => due.map((name) => deliverableKey(clip.id, name))),
  );
  const reports: DeliverableReport[] = [];
  for (const name of await namesIn(join(rollFolder, DELIVERABLE_REPORTS))) {
    const path = `${DELIVERABLE_REPORTS}/${name}`;
    if (
      explained.has(path) ||
      !name.endsWith('.json') ||
      isSystemName(name) ||
      name.startsWith(STAGING_PREFIX)
    )
      continue;
    const read = await readRecord(join(rollFolder, path), deliverableReportSchema);
    if (read.state !== 'read') {
      if (read.state === 'damaged') found.add({ ...read.finding, roll, file: path });
      explained.add(path);
      continue;
    }
    const { value: report } = read;
    // One that lies under another's name speaks for nothing: it stays unexplained.
    if (
      layout.deliverableReport('', report.clip.id, report.profile) !== path ||
      report.roll !== roll ||
      required.has(deliverableKey(report.clip.id, report.profile))
    )
      continue;
    explained.add(path);
    reports.push(report);
  }
  return reports;
}

/** Every byte is read: a report alone says nothing of what an editor will open. */
async function judgeEarlier(
  reports: readonly DeliverableReport[],
  { rollFolder, roll, signal }: DeliveryQuestion,
): Promise<Finding[]> {
  const findings: Finding[] = [];
  const unchanged = new Map<string, number>();
  const gone = new Map<string, number>();
  const count = (counts: Map<string, number>, profile: string): void =>
    void counts.set(profile, (counts.get(profile) ?? 0) + 1);
  await aFewAtOnce(reports, async (report) => {
    const why = await whyDiffers(report, rollFolder, signal);
    if (why === null) count(unchanged, report.profile);
    else if (why === 'absent') count(gone, report.profile);
    else
      findings.push(
        finding('deliverable-earlier-differs', why.found, why.expected, {
          roll,
          clip: report.clip.id,
          profile: report.profile,
          ...(report.file === null ? {} : { file: report.file.path }),
        }),
      );
  });
  const notes = (counts: Map<string, number>, words: string): Finding[] =>
    [...counts]
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([profile, number]) =>
        finding(
          'deliverable-earlier',
          `${number} made with profile ${profile} by an earlier run; ${words}`,
          'deliverables of this verdict only',
          { roll, profile },
        ),
      );
  return [...findings, ...notes(unchanged, 'measured: unchanged'), ...notes(gone, 'no longer there')];
}

async function whyDiffers(
  report: DeliverableReport,
  rollFolder: string,
  signal: AbortSignal | undefined,
): Promise<null | 'absent' | { found: string; expected: string }> {
  const { file } = report;
  const place = file === null ? null : placeBelow(rollFolder, file.path);
  if (file === null || place === null)
    return { found: 'a place outside of the roll', expected: 'a file of the roll' };
  try {
    const digest = await digestOfDeliverable(place, signal);
    const isFolder = isFolderDigest(digest);
    if (isFolder !== (file.files !== undefined))
      return { found: isFolder ? 'a folder' : 'a file', expected: isFolder ? 'a file' : 'a folder' };
    return digest.bytes === file.bytes &&
      digest.xxh128 === file.xxh128 &&
      (file.sha256 === undefined || file.sha256 === digest.sha256)
      ? await whySidecarsDiffer(report, rollFolder)
      : {
          found: `${digest.bytes} bytes, xxh128 ${digest.xxh128}`,
          expected: `${file.bytes} bytes, xxh128 ${file.xxh128}, as its report says`,
        };
  } catch (error) {
    signal?.throwIfAborted();
    if (codeOf(error) === 'ENOENT') return 'absent';
    if (codeOf(error) === '') throw error;
    return { found: `it cannot be read (${codeOf(error)})`, expected: 'a file that can be read' };
  }
}

async function whySidecarsDiffer(
  report: DeliverableReport,
  rollFolder: string,
): Promise<{ found: string; expected: string } | null> {
  const now = await sidecarDigests(report, rollFolder);
  const { sidecars = [] } = report;
  const at = sidecars.findIndex(({ sha256 }, index) => now[index] !== sha256);
  const wrong = sidecars[at];
  return wrong === undefined
    ? null
    : {
        found: `beside it ${printable(wrong.path)}: ${now[at] === null ? 'no such file' : `SHA-256 ${now[at]}`}`,
        expected: `SHA-256 ${wrong.sha256}, as its report says`,
      };
}

/** A record of an earlier decode: whole, and the one that its name says. */
async function isNamedByContent(rollFolder: string, path: string): Promise<boolean> {
  const kind = NAMED_BY_CONTENT.exec(path)?.[1];
  try {
    const bytes = await readFile(fsPath(join(rollFolder, path)));
    const digest =
      kind === 'fingerprints'
        ? (await readFingerprints(bytes)).digest
        : kind === 'sketches'
          ? (await readSketch(bytes)).digest
          : kind === 'samples'
            ? (await readSamples(bytes)).digest
            : sha256Of(bytes);
    return basename(path).includes(digest.slice(0, 16));
  } catch (error) {
    if (!(error instanceof FingerprintError) && codeOf(error) === '') throw error;
    return false;
  }
}

/** Of a clip that the roll does not have. One whose files were left out with --ignore is explained by that. */
async function judgeClipReport(
  path: string,
  { rollFolder, roll, otherFiles }: DeliveryQuestion,
): Promise<Finding[]> {
  const read = await readRecord(join(rollFolder, path), clipReportSchema);
  if (read.state === 'read' && coversAny(read.value.clip.place, otherFiles)) return [];
  return [
    finding(
      'clip-report-left',
      `a clip report ${printable(basename(path))}`,
      'reports of the clips of the roll only',
      { roll, file: path },
    ),
  ];
}
