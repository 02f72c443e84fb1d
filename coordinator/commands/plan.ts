/** `rushlight plan`: everything that a run would do, said before it is done. Reads all of the day; writes nothing. */
import { existsSync } from 'node:fs';
import { append } from '../../findings/append.ts';
import { FindingError, finding } from '../../findings/finding.ts';
import { type DayDifferences, differenceNotes } from '../../handover/consistency/differences.ts';
import { differencesFrom } from '../../handover/write-day.ts';
import { folderName } from '../../ledger/layout.ts';
import type { Rate } from '../../media/time/rate.ts';
import { newRun, nightOf } from '../night/names.ts';
import { defaultSlots, defaultWorkers } from '../night/workers.ts';
import { madeOfPlan } from '../plan/made.ts';
import { machineId } from '../../files/machine-id.ts';
import { byDue, rankOf } from '../dispatch/by-due.ts';
import { type SegmentsAsked, segmentsFor } from '../dispatch/segments.ts';
import { duesOf } from '../forecast/dues.ts';
import { estimated } from '../forecast/estimate.ts';
import { readSpeeds } from '../forecast/keep.ts';
import { forecastOfPlan } from '../forecast/of-plan.ts';
import { lateNotes } from '../show/forecast-text.ts';
import { newRunProgress } from '../progress/run-progress.ts';
import { type NightFolders, nightFolders } from '../roll/folders.ts';
import type { KnownRoll, RollContext } from '../roll/know.ts';
import { prepare, toolsOf } from '../roll/prepare.ts';
import { collisionsOf, findingsAsked, findRolls, rollsAsked } from '../roll/rolls.ts';
import { settingsOfDay } from '../roll/shared-names.ts';
import { soundRollsByName } from '../roll/production-sound.ts';
import { freshReservation, roomOn } from '../roll/space.ts';
import { readersApart } from '../survey/reader.ts';
import { cameraIdentity } from '../settings/camera.ts';
import { cdlListing } from '../settings/match-cdls.ts';
import { noSettings, readSettings } from '../settings/read.ts';
import { clipsToMatch, unmatchedFindings } from '../settings/unmatched.ts';
import { printJson, printText } from '../show/output.ts';
import { showProgress } from '../show/progress.ts';
import { type PullOrder, profilesOf, pullFolders, pullOrder } from '../pull/order.ts';
import { type Followed, followCut } from '../pull/pulling.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_READERS } from '../night/defaults.ts';

import { type DayPlan, dayPlanJson, dayPlanText, isHeld } from '../day-plan/printed.ts';
import { findingsOfRolls } from '../day-plan/findings.ts';
import { type PlannedRoll, planRolls, readRolls } from '../day-plan/rolls.ts';
import { rollInFigures, wholePlanOf } from '../day-plan/sums.ts';
import type { ClipSettings } from '../show/settings-text.ts';

export interface PlanOptions {
  readonly day: string;
  readonly deliver: string;
  readonly copy?: readonly string[];
  readonly profile?: readonly string[];
  readonly manifests?: readonly string[];
  readonly readers?: number;
  readonly workers?: number;
  readonly roll?: readonly string[];
  readonly by?: readonly string[];
  readonly rate?: Rate;
  readonly pull?: string;
  readonly handles?: number;
  readonly cutRate?: Rate;
  readonly stills?: number;
  readonly segments?: SegmentsAsked;
  readonly replace?: boolean;
  readonly settings?: string;
  readonly ignore?: readonly string[];
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

function followCutOf(
  order: PullOrder,
  probed: readonly { readonly known: KnownRoll }[],
  profiles: readonly LoadedProfile[],
): Followed {
  const [first] = profiles;
  if (first === undefined) throw new RangeError('a pull in no profile');
  return followCut(
    order,
    probed.map(({ known }) => known),
    first.profile,
  );
}

const settingsOfClips = ({ known }: PlannedRoll): ClipSettings[] =>
  known.clips.map(({ clip, settings, facts }) => ({
    ...{ roll: known.roll.name, clip: clip.id, settings },
    identity: facts === null ? { make: null, model: null, serial: null } : cameraIdentity(facts),
  }));

/** From the day before it on the delivery. */
async function differencesOfPlan(
  plans: readonly PlannedRoll[],
  { delivery, dayName }: NightFolders,
  { toolchain, profiles }: Pick<RollContext, 'toolchain' | 'profiles'>,
): Promise<DayDifferences> {
  if (!existsSync(delivery)) return { before: null, differences: [] };
  const rolls = plans.map(({ known, jobs }) => ({ clips: known.clips, jobs }));
  const made = madeOfPlan({ day: dayName, toolchain, profiles, rolls });
  return await differencesFrom(delivery, folderName(dayName), made);
}

export async function planCommand(options: PlanOptions): Promise<0 | 1 | 130> {
  const dayFolders = nightFolders({
    day: options.day,
    copies: options.copy ?? [],
    deliver: options.deliver,
    manifests: options.manifests ?? [],
  });
  const order = await pullOrder(options, dayFolders);
  const folders = order === null ? dayFolders : pullFolders(dayFolders, order, options.roll ?? []);
  const stated = options.settings === undefined ? noSettings : await readSettings(options.settings);
  const prepared = await prepare(
    { profiles: profilesOf(options), settings: stated, stills: options.stills },
    toolsOf(options),
  );
  const { rolls, dayManifests, findings: ofDay } = await findRolls(folders);
  if (rolls.length === 0)
    throw new FindingError(
      [...ofDay, finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: folders.day })],
      2,
    );
  const dues = duesOf({
    by: options.by ?? [],
    settings: stated.file,
    rolls: rolls.map(({ name }) => name),
    now: Date.now(),
  });
  const asked = byDue(rollsAsked(rolls, { only: options.roll ?? [], first: [] }), [], dues);
  const notAsked = rolls.filter((roll) => !asked.includes(roll)).map(({ name }) => name);
  const interrupts = listenForInterrupts();
  const signal = interrupts.first;
  const settings = await settingsOfDay(stated, rolls, signal);
  const runProgress = newRunProgress(asked.map((roll) => roll.name));
  const clipReaders = readersApart();
  const progress = showProgress(runProgress, { quiet: options.quiet === true });
  const workers = options.workers ?? defaultWorkers();
  const speeds = await readSpeeds();
  const here = { machine: machineId().id, slots: workers * defaultSlots(workers) };
  const context: RollContext = {
    request: {
      folders,
      readers: options.readers ?? DEFAULT_READERS,
      statedRate: options.rate ?? null,
      settings,
      ignore: options.ignore ?? [],
    },
    night: nightOf(folders.day, folders.delivery),
    run: newRun(),
    ...prepared,
    replace: options.replace === true,
    dayManifests,
    clipReaders,
    runProgress,
    signal,
    collisions: collisionsOf(rolls, folders),
    reservation: freshReservation(folders.delivery),
    segmentsFor: (one, lying) => {
      const [known = one] = estimated([one], { ...here, samples: speeds.jobs, run: null });
      return segmentsFor(known, options.segments ?? 'auto', here.slots, lying);
    },
    // What breaks is among the findings; there is no log to write it to.
    log: () => undefined,
    maybeSoundRolls: await soundRollsByName(rolls, prepared, signal),
    heardTogether: new Map(),
  };
  try {
    const room = await roomOn(folders.delivery);
    const reported = notAsked.length === 0 ? [...ofDay] : findingsAsked(ofDay, asked);
    const read = await readRolls(asked, folders, context);
    const followed = order === null ? null : followCutOf(order, read, prepared.profiles);
    if (followed !== null) append(reported, [...followed.findings]);
    const pull = order === null || followed === null ? null : { order, followed };
    const plans = await planRolls(read, pull, context);
    const names = { asked: asked.map(({ name }) => name), notAsked };
    append(
      reported,
      await findingsOfRolls(
        plans.map(({ known }) => known),
        { folders, ...names },
        context,
      ),
    );
    progress.stop();
    const jobs = plans.flatMap((plan) => plan.jobs);
    append(reported, speeds.findings);
    const now = Date.now();
    const forecast = forecastOfPlan({
      ...here,
      rolls: plans.map(({ known, ...one }, place) => ({
        ...one,
        roll: known.roll.name,
        rank: rankOf(known.roll.name, place, [], dues),
      })),
      ...{ samples: speeds.jobs, dues, now },
    });
    append(reported, lateNotes(forecast, now));
    const whole = wholePlanOf({
      ...{ plans, workers, room, forecast, now },
      estimate: { ...here, samples: speeds.jobs, run: null },
      masters: stated.file.show?.masters ?? 'with',
    });
    const surveyed = plans.map(({ known }) => ({ roll: known.roll.name, clips: known.clips }));
    // Of a roll that did not come so far nothing is known: what it has is not missing.
    if (order === null && notAsked.length === 0 && plans.every(({ known }) => known.isSurveyed))
      append(reported, unmatchedFindings(settings.file, surveyed));
    const cdls = settings.file.show?.cdls;
    const differences =
      order === null ? await differencesOfPlan(plans, folders, prepared) : { before: null, differences: [] };
    append(reported, differenceNotes(folders.dayName, differences));
    const dayPlan: DayPlan = {
      ...{ folders, whole, jobs, pull, differences },
      rolls: plans.map(rollInFigures),
      clips: plans.flatMap(settingsOfClips),
      hasSettings: settings.origin !== null,
      cdls: cdls === undefined ? null : cdlListing(cdls, clipsToMatch(surveyed)),
      findings: reported,
    };
    if (options.json === true) printJson(dayPlanJson(dayPlan));
    else printText(dayPlanText(dayPlan));
    return isHeld(dayPlan) ? 1 : 0;
  } catch (error) {
    if (signal.aborted) return 130;
    throw error;
  } finally {
    clipReaders.close();
    progress.stop();
    interrupts.end();
  }
}
