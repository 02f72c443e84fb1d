/** What a night is asked for, and what came of it. */
import type { Finding } from '../../findings/finding.ts';
import type { KeptReads } from '../intake/kept-reads.ts';
import type { LeaseWatch } from '../../ledger/lease-file.ts';
import type { QueueAddress } from '../../ledger/queue.ts';
import type { Rate } from '../../media/time/rate.ts';
import type { PullRange } from '../pull/form.ts';
import type { PullOrder } from '../pull/order.ts';
import type { Settings } from '../settings/read.ts';
import type { NightForecast } from '../progress/forecast.ts';
import type { RunProgress } from '../progress/run-progress.ts';
import type { FarmVolumes } from '../dispatch/classes.ts';
import type { SegmentsAsked } from '../dispatch/segments.ts';
import type { NightFolders } from '../roll/folders.ts';
import type { AskedRolls } from '../roll/rolls.ts';

export interface NightRequest {
  readonly folders: NightFolders;
  /** Names or paths of .yaml files; empty: the defaults. */
  readonly profiles: readonly string[];
  /** Of only the frames that a cut uses; absent: whole clips. */
  readonly pull?: PullOrder | null;
  /** Which rolls of the day, and which of them first; absent: all, by name. */
  readonly rolls?: AskedRolls;
  /** Hours at which rolls are due (forecast/dues.ts); absent: as the settings say. */
  readonly by?: readonly string[] | undefined;
  /** How many stills of each clip, whatever the settings say; absent: as they say. */
  readonly stills?: number | undefined;
  /** Into how many segments long clips are cut; absent: `auto`. */
  readonly segments?: SegmentsAsked | undefined;
  /** What is ready is made again where something else is asked for; absent: it is left as it is. */
  readonly replace?: boolean | undefined;
  /** Files read side by side at intake. */
  readonly readers: number;
  /** Local worker processes; null: as many as cores and memory allow. */
  readonly workers: number | null;
  /** Jobs that each of them runs side by side; null: as many as its share of cores and memory allows. */
  readonly slots: number | null;
  /** Rate of numbered sequences that carry none. */
  readonly statedRate: Rate | null;
  readonly settings: Settings;
  /** Patterns as in a gitignore file, of files that are no clips. */
  readonly ignore: readonly string[];
  /** Volumes of a farm whose machines mount them at places of their own; absent: they have equal paths. */
  readonly volumes?: FarmVolumes | null;
  /** null: a built-in Redis. */
  readonly queue: QueueAddress | null;
  /** With a shared queue: its share of the farm beside other runs; absent: 1. */
  readonly weight?: number | undefined;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  /** An encoder without progress for this long is killed and its job tried again. */
  readonly stallSeconds: number;
  /** Another run on the same delivery or work folder is waited for; false: this one is refused. */
  readonly waitForRun: boolean;
  /** How long a target, queue or farm that does not answer is waited for before the night ends. */
  readonly patienceSeconds: number;
  /** What this machine has read before, which a coordinator that goes on does not read again; absent: everything is read. */
  readonly kept?: KeptReads;
  /** Of whoever has watched the leases of the delivery for a while; absent: the run begins to watch. */
  readonly leases?: LeaseWatch;
}

/** One interrupt: end what runs, then stop. Two: stop now. */
export interface Interrupts {
  readonly first: AbortSignal;
  readonly second: AbortSignal;
}

export interface NightUi {
  /** Called once, when the rolls are known. `forecast`: as of now. */
  begin(runProgress: RunProgress, forecast: () => NightForecast | null): void;
  /** A line for people. */
  say(line: string): void;
  /** Something that people should know now, although it holds nothing or may pass. */
  report(item: Finding): void;
  /** A roll's verdict is written. `early`: why the run ends before its end; null: it does not. */
  decided?(result: RollResult, early: Finding | null): void;
}

export interface RollResult {
  readonly roll: string;
  readonly verdict: 'ready' | 'held';
  readonly clips: number;
  readonly clipsReady: number;
  /** Of a sound roll; 0 of all others. */
  readonly recordings: number;
  /** Copies of the roll that were read, the working copy among them. */
  readonly copies: number;
  /** Deliverables made in this run, and those that were finished before. */
  readonly made: number;
  readonly kept: number;
  /** roll.json; null when it could not be written. */
  readonly record: string | null;
  readonly findings: readonly Finding[];
}

/** What of the record of a pull is printed. */
export interface PullSummary {
  /** In one line, for people. */
  readonly text: string;
  /** pull.json. */
  readonly record: string;
  readonly ranges: readonly PullRange[];
}

export interface NightResult {
  readonly night: string;
  readonly run: string;
  readonly day: string;
  readonly delivery: string;
  readonly verdict: 'ready' | 'held';
  readonly interrupted: boolean;
  readonly seconds: number;
  readonly rolls: readonly RollResult[];
  /** Of the night as a whole. */
  readonly findings: readonly Finding[];
  readonly logFolder: string;
  /** Of a pull: what its cut led to; null: it is none, or it did not come so far. */
  readonly pull: PullSummary | null;
  /** The morning page of the day; null: it could not be written. */
  readonly page: string | null;
  /** Where the ready rolls of the day are handed over; null: none is. */
  readonly handover: string | null;
}
