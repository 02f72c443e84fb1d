/** How a deliverable runs: at which rate, from which label on, and what becomes of the audio of a clip that is played slower. Pure. */
import { type Finding, finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import {
  compareRatios,
  divideRatios,
  formatRatio,
  type Rate,
  type Ratio,
  sameRatio,
} from '../../media/time/rate.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import type { MissingTimecode } from '../../media/time/timing.ts';
import type { Cadence, RatePolicy } from '../cadence.ts';
import { timecodeOf } from './timecode.ts';

export interface CadencePolicy {
  readonly rate?: RatePolicy;
  readonly timecode: { readonly missing: MissingTimecode };
  /** A copy that keeps every sample keeps the clip's time as well. */
  readonly keepsTime: boolean;
}

export interface Decided {
  /** Of the deliverable, frames a second. */
  readonly rate: Rate;
  readonly timecode: Timecode;
  readonly cadence: Cadence;
  readonly notes: readonly Finding[];
}

interface Speed {
  readonly rate: Rate;
  readonly offSpeed: Cadence['offSpeed'];
  readonly notes: readonly Finding[];
}

const inWords = (rate: Rate): string => `${formatRatio(rate)} frames a second`;
/** `5/2 times`. */
const times = (factor: Ratio): string => `${formatRatio(factor)} times`;

function speedOf(facts: ClipFacts, policy: CadencePolicy): Speed | { readonly findings: Finding[] } {
  const { timing = {}, video } = facts;
  const { rate } = video;
  const asked = timing.offSpeed ?? policy.rate?.off_speed ?? 'own-rate';
  const { projectRate: project } = timing;
  const own = (notes: readonly Finding[]): Speed => ({ rate, offSpeed: null, notes });
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
  if (asked === 'own-rate' || compareRatios(rate, project) < 0)
    return own([
      finding(
        'off-speed-kept',
        inWords(rate),
        `${inWords(project)}, the rate of the project; it keeps its own`,
      ),
    ]);
  const slower = divideRatios(rate, project);
  const audio = timing.offSpeedAudio ?? policy.rate?.off_speed_audio ?? 'leave-out';
  return {
    rate: project,
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

export function cadenceOf(
  facts: ClipFacts,
  policy: CadencePolicy,
): Decided | { readonly findings: readonly Finding[] } {
  const speed = speedOf(facts, policy);
  if ('findings' in speed) return speed;
  const start = timecodeOf(facts, speed.rate, policy.timecode);
  if ('findings' in start) return start;
  return {
    rate: speed.rate,
    timecode: start.timecode,
    cadence: { offSpeed: speed.offSpeed, timecodeFrom: start.from, timecodeField: start.field },
    notes: [...speed.notes, ...start.notes],
  };
}
