/** A plan as it is printed: for people, and as JSON. Pure. */
import { blocks, type Finding } from '../../findings/finding.ts';
import type { DayDifferences } from '../../handover/consistency/differences.ts';
import { leftOfJobs } from '../plan/left.ts';
import { ESTIMATE_RESTS_ON } from '../plan/time.ts';
import type { PlannedJob } from '../plan/types.ts';
import type { NightFolders } from '../roll/folders.ts';
import type { CdlListing } from '../settings/match-cdls.ts';
import { cdlsText } from '../show/cdls-text.ts';
import { differencesText } from '../show/differences-text.ts';
import { planText, type PlannedRoll as RollInFigures, type WholePlan } from '../show/plan-text.ts';
import { pullPlanText } from '../show/pull-text.ts';
import { type ClipSettings, settingsText } from '../show/settings-text.ts';
import type { Pull } from './rolls.ts';

export interface DayPlan {
  readonly folders: NightFolders;
  readonly whole: WholePlan;
  readonly rolls: readonly RollInFigures[];
  readonly jobs: readonly PlannedJob[];
  readonly clips: readonly ClipSettings[];
  /** A settings file was named. */
  readonly hasSettings: boolean;
  /** CDLs of the show; null: it names none. */
  readonly cdls: CdlListing | null;
  /** null: a day, and not what a cut uses of it. */
  readonly pull: Pull | null;
  readonly differences: DayDifferences;
  readonly findings: readonly Finding[];
}

export const isHeld = ({ findings }: Pick<DayPlan, 'findings'>): boolean => findings.some(blocks);

export function dayPlanText(plan: DayPlan): string {
  const { whole, rolls, clips, hasSettings, cdls, pull, differences, findings } = plan;
  return [
    ...(pull === null ? [] : [pullPlanText(pull.order, pull.followed)]),
    ...(hasSettings && clips.length > 0 ? [settingsText(clips)] : []),
    ...(cdls === null ? [] : [cdlsText(cdls)]),
    planText(whole, rolls, findings, differencesText(differences)),
  ].join('\n\n');
}

/** docs/json.md has it field by field. */
export function dayPlanJson(plan: DayPlan) {
  const { folders, whole, rolls, jobs, clips, cdls, pull, differences, findings } = plan;
  return {
    version: 0,
    kind: 'plan' as const,
    day: folders.dayName,
    delivery: folders.delivery,
    verdict: isHeld(plan) ? 'held' : 'clear',
    ...whole,
    secondsRestOn: ESTIMATE_RESTS_ON,
    rolls,
    settings: clips,
    cdls,
    left: leftOfJobs(jobs),
    pull: pull?.followed.record ?? null,
    differences,
    jobs: jobs.map(jobJson),
    findings,
  };
}

const jobJson = ({ job, bytes, bytesRange, seconds, segments }: PlannedJob) => ({
  roll: job.roll,
  clip: job.clip.id,
  frames: job.span.count,
  deliverables: job.deliverables.map(({ profile, profileHash, outcome }) => ({
    profile: profile.name,
    profileHash,
    outcome,
  })),
  bytes,
  bytesRange,
  seconds,
  segments,
});
