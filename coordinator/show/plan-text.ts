/** A plan for people. Pure. */
import type { Finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { NightPlan, SecondDecodes } from '../plan/index.ts';
import type { MastersTurn } from '../plan/waves.ts';
import type { CadenceOfRoll } from '../plan/cadence.ts';
import type { ShapesOfRoll } from '../plan/shapes.ts';
import type { SoundOfRoll } from '../plan/sound.ts';
import type { ShownOfRoll } from '../plan/shown.ts';
import type { WrittenOfRoll } from '../plan/written.ts';
import type { LeftOfRoll } from '../plan/left.ts';
import { ESTIMATE_RESTS_ON } from '../plan/time.ts';
import { forecastText, type PlannedReady } from './forecast-text.ts';
import { bytesText, count, durationText, findingsText } from './words.ts';

export interface WholePlan extends Pick<NightPlan, 'planned' | 'done' | 'withoutRoom' | 'volumes'> {
  readonly workers: number;
  /** From the first job's start to the last one's end with so many workers, an estimate. */
  readonly seconds: number;
  /** When rolls would be ready, by learned speeds. */
  readonly ready: PlannedReady;
  readonly masters: PlannedMasters;
}

/** When masters are made, and what it costs, or would, to make them after the proxies of all rolls. */
export interface PlannedMasters extends SecondDecodes {
  readonly turn: MastersTurn;
}

export interface PlannedRoll {
  readonly roll: string;
  readonly clips: number;
  /** Of a sound roll; 0 of all others. */
  readonly recordings: number;
  readonly jobs: number;
  /** Clips that are cut into segments, and into how many. */
  readonly cut: readonly { readonly segments: number; readonly clips: readonly string[] }[];
  readonly withoutRoom: NightPlan['withoutRoom'];
  readonly deliverables: number;
  readonly bytes: number;
  readonly bytesRange: { readonly least: number; readonly most: number };
  /** Of `bytes`: sketches beside the reports, by which the error of every frame is measured. */
  readonly sketchBytes: number;
  /** What sources say beside their pictures and masters have no place for. */
  readonly left: LeftOfRoll;
  /** How movies for a display show their pictures. */
  readonly shown: readonly ShownOfRoll[];
  /** How deliverables run that are not as their clips were recorded. */
  readonly shapes: readonly ShapesOfRoll[];
  readonly cadence: readonly CadenceOfRoll[];
  /** What is carried of production sound. */
  readonly sound: readonly SoundOfRoll[];
  /** What is written into pictures, beside names and timecode. */
  readonly written: readonly WrittenOfRoll[];
}

/** What compression leaves open; a twentieth either way is no news. */
function spread({ bytes, bytesRange: { least, most } }: PlannedRoll): string {
  return most - least > bytes / 20
    ? `, from ${bytesText(least)} to ${bytesText(most)} depending on the pictures`
    : '';
}

const sketches = ({ sketchBytes }: PlannedRoll): string =>
  sketchBytes === 0 ? '' : `, up to ${bytesText(sketchBytes)} of it error sketches`;

/** Names are in --json: a source says what it likes. */
const metadata = ({ left: { values, clips } }: PlannedRoll): string =>
  values === 0
    ? ''
    : `, ${values} of the metadata of ${count(clips, 'clip')} without a place in masters (--json names them)`;

const FEW = 3;
function namesOf(clips: readonly string[]): string {
  const named =
    clips.length > FEW
      ? `${clips.slice(0, FEW).join(', ')} and ${clips.length - FEW} more`
      : clips.join(', ');
  return printable(named);
}

const ofClips = ({ profiles, clips }: Pick<ShownOfRoll, 'profiles' | 'clips'>): string =>
  `${namesOf(clips)} (${profiles.join(', ')})`;

/** Each on a line of its own: what is shown in which way, what runs otherwise than its clip, what is heard, what is burnt in. */
const waysText = ({ shapes, shown, cadence, written, sound, cut }: PlannedRoll): string =>
  [
    ...shapes.map((one) => `${one.shape}: ${ofClips(one)}`),
    ...shown.map((one) => `shown ${one.way}: ${ofClips(one)}`),
    ...cadence.map((one) => `${one.way}: ${ofClips(one)}`),
    ...sound.map((one) => `production sound, ${one.sound}: ${ofClips(one)}`),
    ...cut.map(({ segments, clips }) => `cut into ${segments} segments, which are joined: ${namesOf(clips)}`),
    ...written.map((one) => `burnt in ${printable(one.text)}: ${ofClips(one)}`),
  ]
    .map((line) => `\n          ${line}`)
    .join('');

function toMake(roll: PlannedRoll): string {
  const { deliverables, bytes } = roll.withoutRoom;
  return deliverables > 0
    ? `${count(deliverables, 'deliverable')} to make, about ${bytesText(bytes)}: there is no room for them`
    : `${count(roll.deliverables, 'deliverable')} to make from ${count(roll.jobs, 'decode')}, about ${bytesText(roll.bytes)}${spread(roll)}${sketches(roll)}${metadata(roll)}`;
}

/** Of all rolls: what is not made for want of room is no work that is done. */
function lacking({ deliverables, bytes }: WholePlan['withoutRoom']): string {
  return deliverables === 0
    ? ''
    : ` No room for ${count(deliverables, 'further deliverable')}, about ${bytesText(bytes)}.`;
}

/** What the table says is of another machine: where speeds are learned, they have spoken. */
function estimate({ planned, seconds, workers, ready }: WholePlan): string {
  return planned === 0 || ready.whole !== null
    ? ''
    : `\nRoughly ${durationText(seconds)} with ${count(workers, 'worker')}, by ${ESTIMATE_RESTS_ON}; this machine may be much faster or slower.`;
}

function mastersText({ turn, clips, seconds }: PlannedMasters): string {
  const cost = `about ${durationText(seconds)} more of one worker`;
  return turn === 'after'
    ? `Masters come after the proxies of all rolls: ${count(clips, 'clip')} decoded twice, ${cost}.`
    : `Masters are made with the proxies of their clip. After the proxies of all rolls (masters: after), ${count(clips, 'clip')} would be decoded twice, ${cost}.`;
}

/** `differences`: against the day before, in a line; null: there is none. */
export function planText(
  plan: WholePlan,
  rolls: readonly PlannedRoll[],
  findings: readonly Finding[],
  differences: string | null = null,
): string {
  const parts = [
    rolls
      .map(
        (roll) =>
          `${printable(roll.roll).padEnd(8)}  ${roll.recordings > 0 ? `${count(roll.recordings, 'recording')} of sound` : `${count(roll.clips, 'clip')}, ${toMake(roll)}${waysText(roll)}`}`,
      )
      .join('\n'),
  ];
  for (const volume of plan.volumes.filter(({ bytes }) => bytes > 0 || plan.withoutRoom.deliverables === 0)) {
    parts.push(
      `On ${volume.name}: about ${bytesText(volume.bytes)} in ${count(volume.files, 'file')}; ${volume.freeBytes === null ? 'free space not known' : `${bytesText(volume.freeBytes)} free`}.`,
    );
  }
  if (findings.length > 0) parts.push(findingsText(findings));
  if (differences !== null) parts.push(differences);
  if (plan.masters.clips > 0) parts.push(mastersText(plan.masters));
  if (plan.planned > 0) parts.push(forecastText(plan.ready));
  parts.push(
    `${count(plan.planned, 'deliverable')} to make, ${plan.done} already done.${lacking(plan.withoutRoom)} Nothing was written.${estimate(plan)}`,
  );
  return `${parts.join('\n\n')}\n`;
}
