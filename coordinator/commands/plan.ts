/** `rushlight plan`: everything that a run would do, said before it is done. Reads all of the day; writes nothing. */
import { existsSync } from 'node:fs';
import { append } from '../../findings/append.ts';
import { FindingError, finding, blocks } from '../../findings/finding.ts';
import { differenceNotes } from '../../handover/consistency/differences.ts';
import { differencesFrom } from '../../handover/write-day.ts';
import { folderName } from '../../ledger/layout.ts';
import { sketchBytes } from '../../profiles/outcome/picture-error.ts';
import type { Rate } from '../../media/time/rate.ts';
import { findingsBeforeMaking } from '../gate/decide.ts';
import { newRun, nightOf } from '../night/names.ts';
import { defaultSlots, defaultWorkers } from '../night/workers.ts';
import { leftOfJobs, leftOfRoll } from '../plan/left.ts';
import { cadenceOfRoll } from '../plan/cadence.ts';
import { madeOfPlan } from '../plan/made.ts';
import { shownOfRoll } from '../plan/shown.ts';
import { shapesOfRoll } from '../plan/shapes.ts';
import { soundOfRoll } from '../plan/sound.ts';
import { writtenOfRoll } from '../plan/written.ts';
import { ESTIMATE_RESTS_ON, secondsOf } from '../plan/time.ts';
import type { PlannedJob } from '../plan/types.ts';
import { machineId } from '../../files/machine-id.ts';
import { byDue, rankOf } from '../dispatch/by-due.ts';
import { jobsOf, type SegmentsAsked, segmentsFor } from '../dispatch/segments.ts';
import { duesOf } from '../forecast/dues.ts';
import { estimated, paceOf, unknownKinds } from '../forecast/estimate.ts';
import { readSpeeds } from '../forecast/keep.ts';
import { forecastOfPlan } from '../forecast/of-plan.ts';
import { lateNotes } from '../show/forecast-text.ts';
import { newRunProgress } from '../progress/run-progress.ts';
import { nightFolders } from '../roll/folders.ts';
import {
  gateInputOf,
  type KnownRoll,
  planRoll,
  probeRoll,
  type RollContext,
  unknownRoll,
  unlessBroken,
  verifyRoll,
} from '../roll/know.ts';
import { contentsOfClips, contentsOnDelivery } from '../roll/delivered-contents.ts';
import { repeatFindings, repeatsAmong } from '../roll/repeats.ts';
import { prepare, toolsOf } from '../roll/prepare.ts';
import { collisionsOf, findingsAsked, findRolls, rollsAsked } from '../roll/rolls.ts';
import { settingsOfDay } from '../roll/shared-names.ts';
import { addProductionSound, soundRollsByName } from '../roll/production-sound.ts';
import { isSoundRoll, layBesideClips } from '../roll/sound-rolls.ts';
import { freshReservation, roomOn } from '../roll/space.ts';
import { readersApart } from '../survey/reader.ts';
import { cameraIdentity } from '../settings/camera.ts';
import { cdlListing } from '../settings/match-cdls.ts';
import { noSettings, readSettings } from '../settings/read.ts';
import { clipsToMatch, unmatchedFindings } from '../settings/unmatched.ts';
import { cdlsText } from '../show/cdls-text.ts';
import { differencesText } from '../show/differences-text.ts';
import { printJson, printText } from '../show/output.ts';
import { type PlannedRoll, planText, type WholePlan } from '../show/plan-text.ts';
import { settingsText } from '../show/settings-text.ts';
import { showProgress } from '../show/progress.ts';
import { pullPlanText } from '../show/pull-text.ts';
import { type PullOrder, profilesOf, pullFolders, pullOrder } from '../pull/order.ts';
import { type Followed, followCut, takeStretches } from '../pull/pulling.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_READERS } from '../night/defaults.ts';

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

/** Clips that several workers make side by side, by the number of their segments. */
function cutOfRoll(jobs: readonly PlannedJob[]): PlannedRoll['cut'] {
  const cut = new Map<number, string[]>();
  for (const { job, segments } of jobs)
    if (segments > 1) cut.set(segments, [...(cut.get(segments) ?? []), job.clip.id]);
  return [...cut].map(([segments, clips]) => ({ segments, clips }));
}

const sumOf = <Item>(items: readonly Item[], of: (item: Item) => number): number =>
  items.reduce((sum, item) => sum + of(item), 0);

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
    const { freeBytes, freeFiles } = await roomOn(folders.delivery);
    const reported = notAsked.length === 0 ? [...ofDay] : findingsAsked(ofDay, asked);
    const plans: (Awaited<ReturnType<typeof planRoll>> & {
      readonly known: KnownRoll;
      readonly reading: number;
      readonly measuring: number;
    })[] = [];
    const probed: {
      readonly known: KnownRoll;
      readonly mayPlan: boolean;
      readonly reading: number;
      readonly measuring: number;
    }[] = [];
    for (const roll of asked) {
      const known = unknownRoll(roll, folders);
      let mayPlan = false;
      const began = performance.now();
      let read = began;
      await unlessBroken(known, context, async () => {
        known.intake = await verifyRoll(roll, context);
        read = performance.now();
        mayPlan = await probeRoll(known, context);
      });
      signal.throwIfAborted();
      const [reading, measuring] = [(read - began) / 1000, (performance.now() - read) / 1000];
      probed.push({ known, mayPlan, reading, measuring });
    }
    // What clips carry of sound rolls is known once all are read.
    const day = probed.map(({ known }) => known);
    const followed = order === null ? null : followCutOf(order, probed, prepared.profiles);
    if (followed !== null) append(reported, [...followed.findings]);
    for (const { known, mayPlan, reading, measuring } of probed) {
      // Of a roll that the cut does not use nothing is said.
      if (mayPlan && order !== null && followed !== null && !takeStretches(known, followed, order.day)) {
        runProgress.setPhase(known.roll.name, 'ready');
        continue;
      }
      let plan: Awaited<ReturnType<typeof planRoll>> = {
        jobs: [],
        done: 0,
        planned: 0,
        withoutRoom: { deliverables: 0, bytes: 0 },
        volumes: [],
        secondDecodes: { clips: 0, seconds: 0 },
        again: () => null,
      };
      await unlessBroken(known, context, async () => {
        if (!mayPlan) return;
        await addProductionSound(known, day, context);
        plan = await planRoll(known, context, false);
      });
      signal.throwIfAborted();
      plans.push({ ...plan, known, reading, measuring });
    }
    const allKnown = plans.map(({ known }) => known);
    const repeats = repeatsAmong(allKnown.flatMap(({ intake }) => intake ?? []));
    const delivered = await contentsOnDelivery(
      folders.delivery,
      (day, roll) => day === folders.dayName && asked.some(({ name }) => name === roll),
    );
    for (const known of allKnown) {
      const { name } = known.roll;
      append(known.findings, [
        ...(repeats.get(name) ?? []),
        ...repeatFindings(
          name,
          contentsOfClips(
            name,
            known.clips.map(({ clip }) => clip),
          ),
          delivered,
        ),
      ]);
      if (isSoundRoll(known)) await layBesideClips(known, allKnown, { ...context, notAsked });
      const found = findingsBeforeMaking(gateInputOf(known, context));
      runProgress.setPhase(known.roll.name, found.some(blocks) ? 'held' : 'ready');
      append(reported, found);
    }
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
    const volumes = plans.flatMap((plan) => plan.volumes);
    const plan: WholePlan = {
      planned: sumOf(plans, (one) => one.planned),
      done: sumOf(plans, (one) => one.done),
      withoutRoom: {
        deliverables: sumOf(plans, (one) => one.withoutRoom.deliverables),
        bytes: sumOf(plans, (one) => one.withoutRoom.bytes),
      },
      volumes: volumes.slice(0, 1).map(({ name }) => ({
        name,
        bytes: sumOf(volumes, (one) => one.bytes),
        files: sumOf(volumes, (one) => one.files),
        freeBytes,
        freeFiles,
      })),
      workers,
      seconds: secondsOf(
        jobs.flatMap((one) => jobsOf(one, one.segments)),
        workers,
      ),
      masters: {
        turn: stated.file.show?.masters ?? 'with',
        clips: sumOf(plans, ({ secondDecodes }) => secondDecodes.clips),
        seconds:
          sumOf(plans, ({ secondDecodes }) => secondDecodes.seconds) *
          paceOf(jobs, { ...here, samples: speeds.jobs, run: null }),
      },
      ready: {
        ...forecast,
        from: new Date(now).toISOString(),
        unknownKinds: unknownKinds(
          jobs.map(({ job }) => job),
          { ...here, samples: speeds.jobs },
        ),
      },
    };
    const planned: PlannedRoll[] = plans.map(({ known, jobs: ofRoll, withoutRoom }) => ({
      roll: known.roll.name,
      clips: known.clips.length,
      recordings: known.recordings.length,
      jobs: ofRoll.length,
      cut: cutOfRoll(ofRoll),
      withoutRoom,
      deliverables: sumOf(ofRoll, ({ job }) => job.deliverables.length),
      bytes: sumOf(ofRoll, ({ bytes }) => bytes),
      bytesRange: {
        least: sumOf(ofRoll, ({ bytesRange }) => bytesRange.least),
        most: sumOf(ofRoll, ({ bytesRange }) => bytesRange.most),
      },
      left: leftOfRoll(ofRoll),
      shown: shownOfRoll(ofRoll),
      shapes: shapesOfRoll(ofRoll),
      cadence: cadenceOfRoll(ofRoll),
      sound: soundOfRoll(ofRoll),
      written: writtenOfRoll(ofRoll),
      sketchBytes: sumOf(ofRoll, ({ job }) =>
        job.deliverables.reduce(
          (sum, { outcome }) => sum + (outcome.kind === 'movie' ? sketchBytes(outcome) : 0),
          0,
        ),
      ),
    }));
    const settingsOfClips = plans.flatMap(({ known }) =>
      known.clips.map((entry) => ({
        roll: known.roll.name,
        clip: entry.clip.id,
        settings: entry.settings,
        identity:
          entry.facts === null ? { make: null, model: null, serial: null } : cameraIdentity(entry.facts),
      })),
    );
    const surveyed = plans.map(({ known }) => ({ roll: known.roll.name, clips: known.clips }));
    // Of a roll that did not come so far nothing is known: what it has is not missing.
    if (order === null && notAsked.length === 0 && plans.every(({ known }) => known.isSurveyed))
      append(reported, unmatchedFindings(settings.file, surveyed));
    const cdls = settings.file.show?.cdls;
    const listing = cdls === undefined ? null : cdlListing(cdls, clipsToMatch(surveyed));
    const differences =
      order === null && existsSync(folders.delivery)
        ? await differencesFrom(
            folders.delivery,
            folderName(folders.dayName),
            madeOfPlan({
              day: folders.dayName,
              toolchain: prepared.toolchain,
              profiles: prepared.profiles,
              rolls: plans.map(({ known, jobs: ofRoll }) => ({ clips: known.clips, jobs: ofRoll })),
            }),
          )
        : { before: null, differences: [] };
    append(reported, differenceNotes(folders.dayName, differences));
    const held = reported.some(blocks);
    if (options.json === true) {
      printJson({
        version: 0,
        kind: 'plan',
        day: folders.dayName,
        delivery: folders.delivery,
        verdict: held ? 'held' : 'clear',
        ...plan,
        secondsRestOn: ESTIMATE_RESTS_ON,
        rolls: planned,
        settings: settingsOfClips,
        cdls: listing,
        left: leftOfJobs(jobs),
        pull: followed?.record ?? null,
        differences,
        jobs: jobs.map(({ job, bytes, bytesRange, seconds, segments }) => ({
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
        })),
        findings: reported,
      });
    } else
      printText(
        `${order === null || followed === null ? '' : `${pullPlanText(order, followed)}\n\n`}${settings.origin === null || settingsOfClips.length === 0 ? '' : `${settingsText(settingsOfClips)}\n\n`}${listing === null ? '' : `${cdlsText(listing)}\n\n`}${planText(plan, planned, reported, differencesText(differences))}`,
      );
    return held ? 1 : 0;
  } catch (error) {
    if (signal.aborted) return 130;
    throw error;
  } finally {
    clipReaders.close();
    progress.stop();
    interrupts.end();
  }
}
