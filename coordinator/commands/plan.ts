/** `rushlight plan`: everything that a run would do, said before it is done. Reads all of the day; writes nothing. */
import { FindingError, finding, holds } from '../../findings/finding.ts';
import type { Rate } from '../../media/time/rate.ts';
import { isVerified } from '../../ledger/roll.ts';
import { isMovie } from '../../profiles/schema.ts';
import { intakeRoll } from '../intake/index.ts';
import { newBoard } from '../progress/board.ts';
import { nightFolders } from '../roll/folders.ts';
import { newRun, nightOf } from '../night/names.ts';
import { planDelivery } from '../roll/plan-roll.ts';
import { prepare, toolsOf } from '../roll/prepare.ts';
import { findRolls, rollOnDelivery } from '../roll/rolls.ts';
import { roomOn } from '../roll/space.ts';
import { surveyOf } from '../roll/survey-roll.ts';
import { defaultWorkers } from '../night/workers.ts';
import type { RollToPlan } from '../plan/index.ts';
import { printJson, printText } from '../show/output.ts';
import { noSettings, readSettings } from '../settings/read.ts';
import { type PlannedRoll, planText } from '../show/plan-text.ts';
import { showProgress } from '../show/progress.ts';
import { listenForInterrupts } from './interrupts.ts';
import { DEFAULT_READERS } from './run.ts';

export interface PlanOptions {
  readonly day: string;
  readonly deliver: string;
  readonly copy?: readonly string[];
  readonly profile?: readonly string[];
  readonly manifests?: readonly string[];
  readonly readers?: number;
  readonly workers?: number;
  readonly rate?: Rate;
  readonly settings?: string;
  readonly ignore?: readonly string[];
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

export async function planCommand(options: PlanOptions): Promise<0 | 1 | 130> {
  const folders = nightFolders({
    day: options.day,
    copies: options.copy ?? [],
    deliver: options.deliver,
    manifests: options.manifests ?? [],
  });
  const settings = options.settings === undefined ? noSettings : await readSettings(options.settings);
  const { tools, toolchain, profiles } = await prepare(options.profile ?? [], toolsOf(options));
  const { rolls, findings: ofDay } = await findRolls(folders);
  if (rolls.length === 0)
    throw new FindingError(
      [...ofDay, finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: folders.day })],
      2,
    );
  const interrupts = listenForInterrupts();
  const signal = interrupts.first;
  const board = newBoard(rolls.map((roll) => roll.name));
  const progress = showProgress(board, { quiet: options.quiet === true });
  try {
    const toPlan: Omit<RollToPlan, 'volume'>[] = [];
    for (const roll of rolls) {
      board.setPhase(roll.name, 'reading');
      const intake = await intakeRoll({
        day: folders.dayName,
        roll: roll.name,
        folder: roll.folder,
        copies: folders.copies,
        manifests: folders.manifests,
        readers: options.readers ?? DEFAULT_READERS,
        signal,
        onProgress: ({ readBytes, totalBytes }) => board.reading(roll.name, readBytes, totalBytes),
      });
      const place = {
        roll: roll.name,
        folder: roll.folder,
        deliveryFolder: rollOnDelivery(folders, roll.name),
      };
      if (!isVerified(intake)) {
        const told = intake.findings.some(holds)
          ? intake.findings
          : [
              ...intake.findings,
              finding('intake-absent', 'a copy that does not hold', 'every copy equal to the manifest', {
                roll: roll.name,
              }),
            ];
        toPlan.push({ ...place, findings: told, clips: [] });
        board.setPhase(roll.name, 'held');
        continue;
      }
      board.setPhase(roll.name, 'measuring');
      const surveyed = await surveyOf(intake, tools, {
        settings: profiles.every(isMovie) ? null : settings.file,
        decoders: settings.decoders,
        statedRate: options.rate ?? null,
        ignore: options.ignore ?? [],
        signal,
        onMeasured: (measured, clips) => board.measuring(roll.name, measured, clips),
      });
      const empty =
        surveyed.clips.length === 0 && !surveyed.findings.some(holds)
          ? [finding('roll-empty', '0 clips', 'at least one clip', { roll: roll.name })]
          : [];
      toPlan.push({
        ...place,
        findings: [...intake.findings, ...surveyed.findings, ...empty],
        clips: surveyed.clips,
      });
      board.setPhase(roll.name, 'ready');
    }
    const workers = options.workers ?? defaultWorkers();
    const plan = await planDelivery({
      night: nightOf(folders.day, folders.delivery),
      run: newRun(),
      day: folders.dayName,
      profiles,
      workers: Math.max(1, workers),
      rolls: toPlan,
      toolchain,
      signal,
      mayWrite: false,
      volume: () => roomOn(folders.delivery),
    });
    progress.stop();
    const told = [
      ...ofDay,
      ...toPlan.flatMap((roll) => [...roll.findings, ...roll.clips.flatMap((entry) => entry.findings)]),
      ...plan.refusals,
      ...plan.notes,
    ];
    const planned: PlannedRoll[] = toPlan.map((roll) => {
      const jobs = plan.jobs.filter(({ job }) => job.roll === roll.roll);
      return {
        roll: roll.roll,
        clips: roll.clips.length,
        jobs: jobs.length,
        deliverables: jobs.reduce((sum, { job }) => sum + job.deliverables.length, 0),
        bytes: jobs.reduce((sum, job) => sum + job.bytes, 0),
        bytesRange: jobs.reduce(
          (sum, { bytesRange }) => ({
            least: sum.least + bytesRange.least,
            most: sum.most + bytesRange.most,
          }),
          { least: 0, most: 0 },
        ),
      };
    });
    const held = told.some(holds);
    if (options.json === true) {
      const jobs = plan.jobs.map(({ job, bytes, bytesRange, seconds }) => ({
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
      }));
      printJson({
        version: 1,
        kind: 'plan',
        day: folders.dayName,
        delivery: folders.delivery,
        verdict: held ? 'held' : 'clear',
        workers,
        seconds: plan.seconds,
        planned: plan.planned,
        done: plan.done,
        volumes: plan.volumes,
        rolls: planned,
        jobs,
        findings: told,
      });
    } else printText(planText(plan, planned, told, workers));
    return held ? 1 : 0;
  } catch (error) {
    if (signal.aborted) return 130;
    throw error;
  } finally {
    progress.stop();
    interrupts.end();
  }
}
