/**
 * The model of a day: what the records of a delivery say of it, as one value, for whoever writes something that people open. It is read from
 * disk alone (read-day.ts) and is never written down: the records stay the one truth. Paths are relative to the day's folder, `/` between parts.
 * `null` means that nobody says it.
 */
import type { Production } from '../profiles/outcome/production.ts';
import type { Finding } from '../findings/finding.ts';
import type { AppliedSettings } from '../ledger/applied-settings.ts';
import type { ClipPlace } from '../ledger/clip.ts';
import type { ClipBeside, Recording } from '../ledger/recording.ts';
import type { CopyResult, RollVerdict } from '../ledger/roll.ts';
import type { AudioFacts, PartFacts } from '../media/facts.ts';
import type { ColourWay } from '../media/colour/way.ts';
import type { Ratio, Rate } from '../media/time/rate.ts';
import type { Timecode } from '../media/time/timecode.ts';
import type { Cadence, TimecodeOrigin } from '../profiles/cadence.ts';
import type { AmfOutcome } from '../profiles/master/amf.ts';
import type { Shown } from '../profiles/shown/schema.ts';

export interface Day {
  /** As the shoot day is called. */
  readonly day: string;
  /** Of the show, by its name in the IANA Time Zone Database: of the roll that was decided last. null: UTC. */
  readonly timeZone: string | null;
  /** By name. */
  readonly rolls: readonly DayRoll[];
}

export interface DayRoll {
  readonly roll: string;
  /** Its folder in the day's folder. */
  readonly folder: string;
  readonly verdict: 'ready' | 'held';
  /** ISO 8601, UTC. */
  readonly decidedAt: string | null;
  readonly timeZone: string | null;
  /** How many copies can be told apart. */
  readonly copies: number;
  /** Every copy that was read. */
  readonly copiesRead: readonly CopyResult[];
  readonly manifests: RollVerdict['manifests'];
  /** What was asked for, by name. */
  readonly profiles: readonly { readonly name: string; readonly hash: string }[];
  readonly toolchain: RollVerdict['toolchain'] | null;
  /** Everything that was found, of the clips too. */
  readonly findings: readonly Finding[];
  /** Files of the roll that are no clips. */
  readonly otherFiles: readonly string[];
  /** Of a sound roll: its takes. */
  readonly recordings: readonly Recording[];
  /** In the order of the record. */
  readonly clips: readonly DayClip[];
  /** SHA-256 of roll.json and, of a ready roll, of its statement, by their bytes. */
  readonly records: { readonly verdict: string | null; readonly statement: string | null };
}

export interface DayClip {
  /** Unique in the roll: names its reports. */
  readonly id: string;
  /** As the camera named it. */
  readonly name: string;
  readonly roll: string;
  readonly verdict: 'ready' | 'held';
  /** The letters that the roll's name begins with: `A` of A001; null: it begins with none. */
  readonly cameraLetter: string | null;
  /** Of the settings. */
  readonly camera: string | null;
  readonly source: DaySource;
  /** Of a pull: which frames of the source are here; null: all. */
  readonly stretch: { readonly start: number; readonly frames: number } | null;
  /** What was measured of the source; null: it could not be. */
  readonly recorded: DayRecorded | null;
  /** As the clip's own tags say, else as the recorder of the sound that ran with it. */
  readonly scene: string | null;
  readonly take: string | null;
  /** Recordings of sound rolls that ran with it, the longest beside it first. */
  readonly sounds: readonly DaySound[];
  /** How its pictures are to look, by the settings; null: nobody says anything. */
  readonly way: ColourWay | null;
  /** What its proxies show, in words, each way once; empty: there are none. */
  readonly shown: readonly string[];
  readonly settings: AppliedSettings | null;
  readonly findings: readonly Finding[];
  readonly stills: readonly DayStill[];
  /** Published ones, and those that are not, with `file` null. */
  readonly deliverables: readonly DayDeliverable[];
}

/** A recording, as one clip has it beside itself. */
export interface DaySound extends Pick<ClipBeside, 'startSamples' | 'overlapSamples' | 'heard'> {
  /** The sound roll. */
  readonly roll: string;
  /** Relative to it. */
  readonly files: readonly string[];
  readonly sampleRate: number;
  readonly tracks: Recording['tracks'];
  readonly scene: string | null;
  readonly take: string | null;
  readonly note: string | null;
}

export interface DaySource {
  /** Names of its files, without folders; of numbered frames that of the first, and of the last where there is more than one. */
  readonly files: readonly string[];
  readonly place: ClipPlace;
  readonly bytes: number;
  readonly contentDigest: string;
}

export interface DayRecorded {
  /** The reel of the source, or the roll where the camera wrote none: what editors relink by. */
  readonly reel: string;
  /** As the camera wrote it. */
  readonly cameraReel: string | null;
  /** Of the first frame. */
  readonly start: Timecode | null;
  readonly timecodeFrom: string | null;
  /** Frames a second, as recorded. */
  readonly rate: Rate;
  readonly rateConstant: boolean;
  readonly projectRate: Rate | null;
  /** The rate over that of the project: how many times longer it lasts when it is played at that. null: no rate of the project. */
  readonly factor: Ratio | null;
  readonly frames: number;
  /** Number of the first frame of numbered ones; of movies 0. */
  readonly firstNumber: number;
  /** Of a spanned clip: its files in order. */
  readonly parts: readonly PartFacts[];
  readonly width: number;
  readonly height: number;
  readonly codec: string;
  /** ISO 8601. */
  readonly createdAt: string | null;
  readonly audio: readonly AudioFacts[];
  /** Sound file beside numbered frames, relative to the roll. */
  readonly soundFile: string | null;
  /** Tags of container and picture, as written. */
  readonly metadata: Readonly<Record<string, string>>;
}

export interface DayStill {
  readonly path: string;
  readonly frame: number;
  readonly timecode: string | null;
  readonly width: number;
  readonly height: number;
  readonly bytes: number;
  readonly sha256: string;
}

/** proxy: to look at and cut with. master: frames, or a movie, for grading. archive: a copy that keeps every sample. */
export type DeliverableUse = 'proxy' | 'master' | 'archive';

export interface DayDeliverable {
  readonly profile: string;
  readonly use: DeliverableUse;
  readonly kind: 'movie' | 'frames';
  /** published, publishing, failed, absent. */
  readonly state: string;
  /** null: nothing was published. */
  readonly file: DayFile | null;
  /** Files beside a movie that belong to it. */
  readonly sidecars: readonly { readonly path: string; readonly bytes: number; readonly sha256: string }[];
  readonly rate: Rate;
  readonly frames: number;
  readonly start: Timecode | null;
  readonly timecodeFrom: TimecodeOrigin;
  readonly cadence: Cadence;
  readonly reel: string | null;
  readonly width: number;
  readonly height: number;
  /** By its standard; of frames their form. */
  readonly codec: string;
  /** Whether there is text in the picture. */
  readonly burntIn: boolean;
  /** Names of a folder's frames; null: a movie. */
  readonly numbered: {
    readonly stem: string;
    readonly first: number;
    readonly digits: number;
    readonly extension: string;
  } | null;
  /** The ACES Metadata File beside it; null: there is none. */
  readonly amf: { readonly path: string; readonly says: AmfOutcome } | null;
  /** What coding lost of luma, decibels; null: nothing, or it was not measured. */
  readonly psnr: {
    readonly median: number;
    readonly worst: number;
    readonly frame: number;
    readonly timecode: string | null;
  } | null;
  readonly audioTracks: number;
  /** What it carries of a recording; null: nothing. */
  readonly production: Production | null;
  /** The colour way that its pictures go; null: they stay as recorded, or it is a master. */
  readonly shownBy: Shown | null;
}

export interface DayFile {
  readonly path: string;
  /** Of a folder all of its files. */
  readonly bytes: number;
  /** Of a folder that of its checksum list. */
  readonly sha256: string | null;
  readonly xxh128: string | null;
  /** How many, of a folder; null: it is one file. */
  readonly files: number | null;
}
