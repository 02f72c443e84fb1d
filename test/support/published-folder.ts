/** A deliverable that is a folder, published in the profile `cut` of the good world (world.ts), with its checksum list, fingerprints and report. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { layout } from '../../ledger/layout.ts';
import { storeChecksumList } from '../../ledger/checksum-list.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { writeRecord } from '../../ledger/store.ts';
import { digestOfFolder } from '../../files/folder-digest.ts';
import { freshFolder } from './folder.ts';
import { bell, makeFrames } from './frames.ts';
import { clip, outcome, report as reportOf, toolchain } from './world.ts';

export interface PublishedFolder {
  /** <delivery>/<day>/<roll>. */
  readonly delivery: string;
  /** Where the frames are. */
  readonly folder: string;
  readonly report: DeliverableReport;
}

/** What it was made from and with. */
export const wanted = {
  contentDigest: clip.contentDigest,
  profileHash: 'hash-cut',
  toolchain: toolchain.digest,
  outcome: { ...outcome, fileName: 'A001C001' },
};

export async function publishedFolder(contents: readonly string[] = bell): Promise<PublishedFolder> {
  const delivery = freshFolder('delivery');
  const folder = makeFrames(layout.deliverable(delivery, 'cut', 'A001C001'), contents);
  const digest = await digestOfFolder(folder);
  const whole = reportOf(clip, 'cut', 'hash-cut');
  mkdirSync(join(delivery, 'reports', 'fingerprints'), { recursive: true });
  writeFileSync(join(delivery, 'reports', 'fingerprints', 'A001C001.fingerprints'), 'fingerprints');
  const report: DeliverableReport = {
    ...structuredClone(whole),
    outcome: { ...whole.outcome, fileName: 'A001C001' },
    file: {
      path: 'cut/A001C001',
      bytes: digest.bytes,
      xxh128: digest.xxh128,
      sha256: digest.sha256,
      files: digest.files.length,
    },
    checksumList: await storeChecksumList(delivery, clip.id, 'cut', digest),
  };
  await write(delivery, report);
  return { delivery, folder, report };
}

export async function write(delivery: string, report: DeliverableReport): Promise<void> {
  await writeRecord(layout.deliverableReport(delivery, clip.id, 'cut'), deliverableReportSchema, report);
}
