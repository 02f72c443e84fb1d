/** Where everything lies in a delivery (README, "On disk"). The only place that builds these paths. */
import { extname, join, normalize, sep } from 'node:path';
import { LONGEST_NAME, safeName, withDigest } from '../files/safe-names.ts';

/** Every hidden name that a run gives beside what it delivers begins so. */
export const OWN_PREFIX = '.rushlight-';
export const STAGING_PREFIX = `${OWN_PREFIX}part-`;

/** A folder among the reports that is there only while a run makes the roll. */
export const JOB_PARTS_NAME = `${OWN_PREFIX}jobs`;

const VIEW_ASKED_NAME = 'asked';

/** A day's or roll's folder in a delivery: its name, or, where some system cannot write that, one that every system can, with a digest so that no two meet. What it gives, it gives back unchanged. */
export function folderName(name: string): string {
  const safe = safeName(name);
  return safe === name.normalize('NFC') && Buffer.byteLength(safe) <= LONGEST_NAME
    ? safe
    : withDigest(safe, name, LONGEST_NAME);
}

/** A path of a record below the roll's delivery folder; null when it points outside of it. */
export function placeBelow(rollFolder: string, path: string): string | null {
  const relative = normalize(path);
  if (relative === '..' || relative.startsWith(`..${sep}`) || relative.startsWith(sep)) return null;
  return join(rollFolder, relative);
}

export const layout = {
  dayFolder: (delivery: string, day: string): string => join(delivery, folderName(day)),
  rollFolder: (delivery: string, day: string, roll: string): string =>
    join(delivery, folderName(day), folderName(roll)),
  verdict: (rollFolder: string): string => join(rollFolder, 'roll.json'),
  /** What binds the roll's outputs, records and sources by their digests (ledger/provenance), and the same in a signed envelope. */
  statement: (rollFolder: string): string => join(rollFolder, 'statement.json'),
  envelope: (rollFolder: string): string => join(rollFolder, 'statement.dsse.json'),
  profileFolder: (rollFolder: string, profile: string): string => join(rollFolder, profile),
  deliverable: (rollFolder: string, profile: string, fileName: string): string =>
    join(rollFolder, profile, fileName),
  /** Same folder as the final name: a rename must never cross a file system. */
  staging: (rollFolder: string, profile: string, token: string, extension: string): string =>
    join(rollFolder, profile, `${STAGING_PREFIX}${token}.${extension}`),
  /** Of a file beside a movie that is staged, by the extension of its final name. */
  stagedBeside: (staged: string, name: string): string =>
    `${staged.slice(0, staged.length - extname(staged).length)}${extname(name)}`,
  /** The same for a deliverable that is a folder. No ending: a name that ends in a dot is not every system's. */
  stagingFolder: (rollFolder: string, profile: string, token: string): string =>
    join(rollFolder, profile, `${STAGING_PREFIX}${token}`),
  reportsFolder: (rollFolder: string): string => join(rollFolder, 'reports'),
  clipReport: (rollFolder: string, clipId: string): string => join(rollFolder, 'reports', `${clipId}.json`),
  /** Named by its content: fingerprints of another decode never take their place. */
  fingerprints: (clipId: string, digest: string): string =>
    join('reports', 'fingerprints', `${clipId}.${digest.slice(0, 16)}.fingerprints`),
  /** The pixel samples of a master. */
  samples: (clipId: string, digest: string): string =>
    join('reports', 'samples', `${clipId}.${digest.slice(0, 16)}.samples`),
  /** The error sketch of a deliverable. */
  sketch: (clipId: string, profile: string, digest: string): string =>
    join('reports', 'sketches', `${clipId}.${profile}.${digest.slice(0, 16)}.sketch`),
  /** A colour transform that the roll's masters were made with, named by its content. */
  transform: (sha256: string, extension: string): string =>
    join('reports', 'transforms', `${sha256.slice(0, 16)}${extension}`),
  /** Named by its content, which is that of the folder it lists (files/checksum-list.ts). */
  checksumList: (clipId: string, profile: string, sha256: string): string =>
    join('reports', 'checksums', `${clipId}.${profile}.${sha256.slice(0, 16)}.sha256`),
  /** Of a clip, and the record of them; a still has its name from what was decided (profiles/stills/decide.ts). Below the roll's delivery folder. */
  stillsFolder: (rollFolder: string): string => join(rollFolder, 'reports', 'stills'),
  stillsReport: (rollFolder: string, clipId: string): string =>
    join(rollFolder, 'reports', 'stills', `${clipId}.json`),
  still: (name: string): string => `reports/stills/${name}`,
  stagedStill: (rollFolder: string, token: string): string =>
    join(rollFolder, 'reports', 'stills', `${STAGING_PREFIX}${token}.png`),
  /** What jobs are made of while the roll is made (ledger/job-parts.ts). */
  jobPartsFolder: (rollFolder: string): string => join(rollFolder, 'reports', JOB_PARTS_NAME),
  /** Segments of long clips that wait to be joined (ledger/segments.ts). */
  segmentsFolder: (rollFolder: string): string => join(rollFolder, 'reports', JOB_PARTS_NAME, 'segments'),
  /** Pictures of frames that are being made, for whoever watches the run (worker/view.ts, coordinator/live/views.ts). */
  viewFolder: (rollFolder: string): string => join(rollFolder, 'reports', JOB_PARTS_NAME, 'view'),
  view: (rollFolder: string, clipId: string): string =>
    join(rollFolder, 'reports', JOB_PARTS_NAME, 'view', `${clipId}.png`),
  stagedView: (rollFolder: string, token: string): string =>
    join(rollFolder, 'reports', JOB_PARTS_NAME, 'view', `${STAGING_PREFIX}${token}.png`),
  /** What asks for them: a text that is another one each time somebody asks. */
  viewAsked: (rollFolder: string): string =>
    join(rollFolder, 'reports', JOB_PARTS_NAME, 'view', VIEW_ASKED_NAME),
  /** One that is being made, there. */
  stagedSegment: (token: string): string => `${STAGING_PREFIX}${token}`,
  deliverableReport: (rollFolder: string, clipId: string, profile: string): string =>
    join(rollFolder, 'reports', 'deliverables', `${clipId}.${profile}.json`),
} as const;
