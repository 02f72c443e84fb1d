/** How a deliverable runs: at which rate, from which label on, and what becomes of the audio of a clip that is played slower. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import {
  compareRatios,
  divideRatios,
  formatRatio,
  isKnownRate,
  type Rate,
  type Ratio,
  sameRatio,
  timecodeBase,
} from '../../media/time/rate.ts';
import { labelAtRate } from '../../media/time/off-speed.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import type { MissingTimecode } from '../../media/time/timing.ts';
import type { Cadence, RatePolicy, Split } from '../cadence.ts';
import { gridOf } from './grid.ts';
import { countedInFields } from './split.ts';
import { timecodeOf } from './timecode.ts';

export interface CadencePolicy {
  readonly rate?: RatePolicy;
  readonly timecode: { readonly missing: MissingTimecode };
  /** A copy that keeps every sample keeps the clip's time as well. */
  readonly keepsTime: boolean;
  /** What a rate that varies cannot be made constant for, in words; null: it can. */
  readonly noGridFor: string | null;
  /** Each field is a frame; null, or absent: whatever a frame is made of, it is one. */
  readonly split?: Split | null;
}

export interface Decided {
  /** Of the deliverable, frames a second. */
  readonly rate: Rate;
  readonly frames: number;
  readonly timecode: Timecode;
  readonly cadence: Cadence;
  readonly notes: readonly Finding[];
}

interface Speed {
  readonly rate: Rate;
  readonly frames: number;
  readonly constant: Cadence['constant'];
  readonly offSpeed: Cadence['offSpeed'];
  readonly notes: readonly Finding[];
}

const inWords = (rate: Rate): string => `${formatRatio(rate)} frames a second`;
/** `5/2 times`. */
const times = (factor: Ratio): string => `${formatRatio(factor)} times`;

function speedOf(facts: ClipFacts, policy: CadencePolicy): Speed | { readonly findings: Finding[] } {
  const { timing = {}, video } = facts;
  const { rate, frames } = video;
  if (!video.rateConstant) return constantOf(facts, policy);
  const asked = timing.offSpeed ?? policy.rate?.off_speed ?? 'own-rate';
  const { projectRate: project } = timing;
  const own = (notes: readonly Finding[]): Speed => ({ rate, frames, constant: null, offSpeed: null, notes });
  if (policy.keepsTime) return own([]);
  if (project === undefined)
    return asked === 'own-rate'
      ? own([])
      : {
          findings: [
            finding('project-rate-missing', 'no rate of the project', '`project_rate` in the settings'),
          ],
        };
  if (sameRatio(rate, project)) return own([]);
  // Frames that were recorded one by one may have been meant to be played faster; of a movie a slower rate is how it was shot.
  const isSlower = compareRatios(rate, project) < 0;
  if (asked === 'own-rate' || (isSlower && facts.kind === 'movie'))
    return own([
      finding(
        'off-speed-kept',
        inWords(rate),
        `${inWords(project)}, the rate of the project; it keeps its own`,
      ),
    ]);
  const slower = divideRatios(rate, project);
  // What was heard lasts longer than a picture that is played faster.
  const audio = isSlower
    ? 'leave-out'
    : (timing.offSpeedAudio ?? policy.rate?.off_speed_audio ?? 'leave-out');
  return {
    rate: project,
    frames,
    constant: null,
    offSpeed: { captured: rate, slower, audio },
    notes: [
      finding(
        'off-speed-played',
        `${video.frames} frames recorded at ${inWords(rate)}`,
        `${inWords(project)}: every frame is played at that rate, ${times(slower)} as long`,
      ),
    ],
  };
}

/** As many frames as fields, and labels that count them: the label of a frame, in labels of twice the base, is that of its earlier field. */
function inFields(recorded: ClipFacts): ClipFacts {
  const facts = countedInFields(recorded);
  const { timecode, video } = facts;
  const isOfFrames = timecode !== null && timecode.base === timecodeBase(recorded.video.rate);
  return isOfFrames && isKnownRate(video.rate)
    ? { ...facts, timecode: labelAtRate(timecode, video.rate) }
    : facts;
}

function stepsText({ steps, timeBase }: ClipFacts['video']): string {
  const seconds = (ticks: number): string =>
    `${((ticks * timeBase.num * 1000) / timeBase.den).toFixed(3)} ms`;
  const shown = steps.slice(0, 4).map((step) => `${step.count} of ${seconds(step.ticks)}`);
  return `steps between frames: ${shown.join(', ')}${steps.length > 4 ? `, and ${steps.length - 4} other lengths` : ''}`;
}

/** On a grid of the clip's nominal rate, or where that is none that timecode counts, of the project's. */
function constantOf(
  { timing = {}, video }: ClipFacts,
  policy: CadencePolicy,
): Speed | { findings: Finding[] } {
  const steps = stepsText(video);
  if ((timing.variableRate ?? policy.rate?.variable ?? 'hold') === 'hold')
    return {
      findings: [finding('clip-rate-varies', steps, `a constant rate (nominal ${inWords(video.rate)})`)],
    };
  const rate = isKnownRate(video.rate) ? video.rate : timing.projectRate;
  const grid = rate === undefined ? null : gridOf(video, rate);
  if (policy.noGridFor !== null || rate === undefined || grid === null)
    return {
      findings: [
        finding(
          'rate-not-made-constant',
          policy.noGridFor ?? `a nominal rate of ${formatRatio(video.rate)}`,
          'a movie that shows the pictures as recorded, of progressive frames, at a rate that timecode counts',
        ),
      ],
    };
  const { frames, ...constant } = grid;
  return {
    rate,
    frames,
    constant,
    offSpeed: null,
    notes: [
      finding(
        'rate-made-constant',
        `${video.frames} frames, ${steps}`,
        `${frames} at ${inWords(rate)}: ${constant.repeated.length} shown more than once, ${constant.leftOut.length} left out`,
      ),
    ],
  };
}

const inFrames = (timecode: Timecode | null): string =>
  timecode === null ? 'no timecode' : `labels of base ${timecode.base}`;

/** Frame k of the clip is frames 2k and 2k + 1, whose labels are the two of its own: SMPTE ST 12-1 counts such pairs, and files count their frames singly. */
function splitNote(facts: ClipFacts, { rate, frames }: Speed, timecode: Timecode): Finding {
  const { video } = facts;
  return finding(
    'fields-split',
    `${video.frames} interlaced frames at ${inWords(video.rate)}, ${inFrames(facts.timecode)}`,
    `${frames} at ${inWords(rate)}, labels of base ${timecode.base}: frames 2k and 2k + 1 are the earlier and the later field of frame k`,
  );
}

export function cadenceOf(
  recorded: ClipFacts,
  policy: CadencePolicy,
): Decided | { readonly findings: readonly Finding[] } {
  const { split = null } = policy;
  const facts = split === null || !recorded.video.rateConstant ? recorded : inFields(recorded);
  const speed = speedOf(facts, policy);
  if ('findings' in speed) return speed;
  const { rate, frames, offSpeed, constant } = speed;
  // Labels of a clip that is laid on a grid count its instants.
  const counted = constant === null ? facts : { ...facts, video: { rate } };
  const start = timecodeOf(counted, rate, policy.timecode);
  if ('findings' in start) return start;
  return {
    rate,
    frames,
    timecode: start.timecode,
    cadence: { offSpeed, constant, split, timecodeFrom: start.from, timecodeField: start.field },
    notes: [
      ...(split === null ? [] : [splitNote(recorded, speed, start.timecode)]),
      ...speed.notes,
      ...start.notes,
    ],
  };
}
