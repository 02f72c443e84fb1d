/** Which files a roll's statement names, by its records. Pure. */
import { createHash } from 'node:crypto';
import { keptFilesOf, keptFilesOfStills } from '../../ledger/kept-files.ts';
import { layout } from '../../ledger/layout.ts';
import type { NamedDigest, StatementParts } from '../../ledger/provenance/build.ts';
import { type ClipReport, clipReportSchema } from '../../ledger/report.ts';
import type { RollVerdict } from '../../ledger/roll.ts';
import type { StillsOnDisk } from '../../ledger/stills.ts';
import { recordBytes } from '../../ledger/store.ts';
import { transformPath } from '../../ledger/transform.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { type DeliverableOnDisk, deliverableKey } from '../gate/input.ts';

export function sha256Of(bytes: Buffer): string {
  return createHash('sha256').update(bytes).digest('hex');
}

export interface PartsInput {
  readonly verdict: RollVerdict;
  readonly facts: ReadonlyMap<string, ClipFacts | null>;
  /** Of the clip reports' files, by clip id. */
  readonly clipReports: ReadonlyMap<string, string>;
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** By clip id; those of a clip of which none are due are left out. */
  readonly stills: ReadonlyMap<string, StillsOnDisk>;
}

/** What could not be read is left out. An output's digest is the one that was measured last. */
export function partsOf({ verdict, facts, clipReports, onDisk, stills }: PartsInput): StatementParts {
  const outputs: NamedDigest[] = [];
  const records = new Map([...clipReports].map(([clip, sha256]) => [layout.clipReport('', clip), sha256]));
  for (const { clip, stills: due } of verdict.clips) {
    const {
      report = null,
      files = [],
      reportSha256,
    } = (due === undefined ? undefined : stills.get(clip.id)) ?? {};
    if (report !== null && reportSha256 !== undefined) {
      records.set(layout.stillsReport('', clip.id), reportSha256);
      for (const [path, digest] of keptFilesOfStills(report.outcome)) records.set(path, digest);
      for (const [at, { path }] of report.stills.entries()) {
        const now = files[at] ?? null;
        if (now !== null) outputs.push({ path, sha256: now.sha256 });
      }
    }
    const input = facts.get(clip.id)?.interpretation?.input ?? null;
    const transform = transformPath(input);
    if (transform !== null && input !== null && 'file' in input) records.set(transform, input.sha256);
    for (const { name } of verdict.profiles) {
      const disk = onDisk.get(deliverableKey(clip.id, name));
      if (disk?.reportSha256 !== undefined)
        records.set(layout.deliverableReport('', clip.id, name), disk.reportSha256);
      // Deliverables of one decode share fingerprints.
      if (disk?.report?.fingerprints !== undefined && disk.fingerprintsSha256 !== undefined)
        records.set(disk.report.fingerprints.path, disk.fingerprintsSha256);
      if (disk?.report?.errorSketch !== undefined && disk.errorSketchSha256 !== undefined)
        records.set(disk.report.errorSketch.path, disk.errorSketchSha256);
      if (disk?.report?.checksumList !== undefined && disk.checksumListSha256 !== undefined)
        records.set(disk.report.checksumList.path, disk.checksumListSha256);
      const file = disk?.report?.file;
      const sha256 = disk?.remeasured?.sha256 ?? file?.sha256;
      if (file && sha256 !== undefined && disk?.bytesOnDisk !== null)
        outputs.push({ path: file.path, sha256, ...(file.files === undefined ? {} : { folder: true }) });
      if (disk?.report)
        for (const [path, digest] of keptFilesOf(disk.report.outcome)) records.set(path, digest);
      for (const [index, { path }] of (disk?.report?.sidecars ?? []).entries()) {
        const now = disk?.sidecarsSha256?.[index] ?? null;
        if (now !== null) outputs.push({ path, sha256: now });
      }
    }
  }
  return { verdict, facts, outputs, records: [...records].map(([path, sha256]) => ({ path, sha256 })) };
}

/** The parts of a roll that was decided just now, with its clip reports as they will be written. */
export function partsDecided(
  verdict: RollVerdict,
  clipReports: readonly ClipReport[],
  onDisk: ReadonlyMap<string, DeliverableOnDisk>,
  stills: ReadonlyMap<string, StillsOnDisk> = new Map(),
): StatementParts {
  return partsOf({
    verdict,
    facts: new Map(clipReports.map(({ clip, facts }) => [clip.id, facts])),
    clipReports: new Map(
      clipReports.map((report) => [report.clip.id, sha256Of(recordBytes(clipReportSchema, report))]),
    ),
    onDisk,
    stills,
  });
}
