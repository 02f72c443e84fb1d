/** What the gate decides from: the records of one roll, and what lies on disk for each deliverable. */
import type { Finding } from '../../findings/finding.ts';
import type { AppliedSettings } from '../../ledger/applied-settings.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { FolderOnDisk } from '../../ledger/checksum-list.ts';
import type { CheckResult, DeliverableReport } from '../../ledger/report.ts';
import type { Recording } from '../../ledger/recording.ts';
import type { IntakeResult, UnusedClip } from '../../ledger/roll.ts';
import type { StillsOnDisk } from '../../ledger/stills.ts';
import type { Toolchain } from '../../ledger/toolchain.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';

export function deliverableKey(clipId: string, profile: string): string {
  return `${clipId}/${profile}`;
}

/** What lies on disk for one clip in one profile. */
export interface DeliverableOnDisk {
  /** null: no report, or one that cannot be read (then `damage`). */
  readonly report: DeliverableReport | null;
  readonly damage: Finding | null;
  /** Size of the file that the report names, in bytes, or of all listed files of a folder; null when it does not stand. */
  readonly bytesOnDisk: number | null;
  /** Of a folder that stands: what its checksum list says of it. Absent for a single file. */
  readonly folder?: Pick<FolderOnDisk, 'files' | 'differences'>;
  /** Of each file beside it, as the report has them: SHA-256 of its bytes now; null where no plain file has the name. */
  readonly sidecarsSha256?: readonly (string | null)[];
  /** Of the checksum list's text that the report names, hex; absent when none stands. */
  readonly checksumListSha256?: string;
  /** Of the report's file as it was read, hex. */
  readonly reportSha256?: string;
  /** Of the file of fingerprints that the report names, hex; absent when none stands. */
  readonly fingerprintsSha256?: string;
  /** Of the file of the error sketch that the report names, hex; absent when none stands. */
  readonly errorSketchSha256?: string;
  /** Of a single file: the digests of its bytes now, where the system says something else of it than when it was published. */
  readonly now?: { readonly xxh128: string; readonly sha256: string };
  /** What a second measurement of the file on disk gave; absent on the night, where the report is the measurement itself. */
  readonly remeasured?: Remeasured;
}

/** A deliverable measured again from its bytes. Both, the report and this, must be good by the same rule, and of the same bytes. */
export interface Remeasured {
  readonly xxh128: string;
  readonly sha256: string;
  readonly facts: ClipFacts | null;
  readonly checks: readonly CheckResult[];
  readonly findings: readonly Finding[];
}

export interface GateClip {
  readonly clip: Clip;
  /** null: could not be measured; then a finding says why. */
  readonly facts: ClipFacts | null;
  /** Of survey, and the plan's refusals. */
  readonly findings: readonly Finding[];
  /** Which profiles are due of it, and by which settings it is made. */
  readonly settings: AppliedSettings;
}

/** `files` null: only their number is known, from the copies. */
export type GateIntake = Omit<IntakeResult, 'files' | 'folder'> & {
  readonly folder?: string;
  readonly files: IntakeResult['files'] | null;
};

export interface GateInput {
  readonly day: string;
  readonly roll: string;
  /** null: intake did not come to an end. */
  readonly intake: GateIntake | null;
  /** How many copies the night was given, the shoot day's own among them. */
  readonly copiesAsked: number;
  readonly clips: readonly GateClip[];
  /** Of a pull: clips of the roll that the cut does not use. */
  readonly unused?: readonly UnusedClip[];
  /** Of a sound roll, which has no clip. */
  readonly recordings: readonly Recording[];
  /** Files of the roll that survey took for no clip. */
  readonly otherFiles: readonly string[];
  readonly profiles: readonly LoadedProfile[];
  readonly toolchain: Toolchain;
  /** By `deliverableKey`. */
  readonly onDisk: ReadonlyMap<string, DeliverableOnDisk>;
  /** What lies on disk of the clips' stills, by clip id; absent: nothing was looked at. */
  readonly stills?: ReadonlyMap<string, StillsOnDisk>;
  /** Of the roll as a whole, and what the night says of it (interrupted, target full, …). */
  readonly findings: readonly Finding[];
  /** Of the show, by its name in the IANA Time Zone Database; null: nobody stated one. */
  readonly timeZone: string | null;
  /** ISO 8601 UTC. */
  readonly decidedAt: string;
}
