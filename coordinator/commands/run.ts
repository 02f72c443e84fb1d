/** `rushlight run`: a shoot day in, verified rolls and proved deliverables out. */
import { setTimeout as wait } from 'node:timers/promises';
import { type Finding, FindingError, finding, blocks } from '../../findings/finding.ts';
import { nightFolders, type NightFolders } from '../roll/folders.ts';
import type { NightResult, NightUi } from '../night/request.ts';
import { runNight } from '../night/run.ts';
import type { SegmentsAsked } from '../dispatch/segments.ts';
import { nightText } from '../show/night-text.ts';
import { pageAddressText } from '../show/page-text.ts';
import { printJson, printText } from '../show/output.ts';
import { type Progress, showProgress } from '../show/progress.ts';
import { findingText } from '../show/words.ts';
import { originOf, type ServeAddress } from '../../serve/address.ts';
import { noSettings, readSettings } from '../settings/read.ts';
import { profilesOf, pullFolders, pullOrder } from '../pull/order.ts';
import { volumesOf } from '../roll/volumes.ts';
import { parseQueueAddress } from '../store/shared.ts';
import { DEFAULT_PATIENCE_SECONDS, DEFAULT_READERS, DEFAULT_STALL_SECONDS } from './defaults.ts';
import { listenForInterrupts } from './interrupts.ts';
import type { Rate } from '../../media/time/rate.ts';

export interface RunOptions {
  readonly day: string;
  readonly deliver: string;
  readonly work?: string;
  readonly copy?: readonly string[];
  readonly profile?: readonly string[];
  readonly manifests?: readonly string[];
  readonly readers?: number;
  readonly workers?: number;
  readonly slots?: number;
  readonly roll?: readonly string[];
  readonly first?: readonly string[];
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
  readonly queue?: string;
  readonly volumes?: string;
  readonly queueCa?: string;
  readonly queueCert?: string;
  readonly queueKey?: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly stallSeconds?: number;
  readonly patienceSeconds?: number;
  readonly waitForRun?: boolean;
  readonly page?: ServeAddress;
  readonly json?: boolean;
  readonly quiet?: boolean;
}

function exitCodeOf(result: Pick<NightResult, 'interrupted' | 'verdict'>): 0 | 1 | 130 {
  if (result.interrupted) return 130;
  return result.verdict === 'ready' ? 0 : 1;
}

/** Runs the night and prints what came of it; gives the exit code. Throws FindingError when it cannot begin. */
export async function runCommand(options: RunOptions): Promise<0 | 1 | 130> {
  const result = await takeNight(options);
  if (options.json === true) printJson({ version: 0, kind: 'run', ...result });
  else printText(nightText(result));
  return exitCodeOf(result);
}

/** The night as `run` takes it, with progress and interrupts; what came of it is the caller's to print. */
export async function takeNight(options: RunOptions): Promise<NightResult> {
  const ofDay = nightFolders({
    day: options.day,
    copies: options.copy ?? [],
    deliver: options.deliver,
    manifests: options.manifests ?? [],
    ...(options.work === undefined ? {} : { work: options.work }),
  });
  const pull = await pullOrder(options, ofDay);
  const folders = pull === null ? ofDay : pullFolders(ofDay, pull, options.roll ?? []);
  const settings = options.settings === undefined ? noSettings : await readSettings(options.settings);
  const queue = options.queue === undefined ? null : parseQueueAddress(options.queue, options);
  if (options.workers === 0 && queue === null)
    throw new FindingError(
      [
        finding(
          'usage-wrong',
          '--workers 0 without --queue: nobody would do the work',
          '--workers 1 or more, or --queue with workers on other machines',
        ),
      ],
      2,
    );
  const volumes = options.volumes === undefined ? null : await volumesOf(options.volumes, folders);
  const interrupts = listenForInterrupts();
  let progress: Progress | undefined;
  const say = (line: string): void => {
    if (options.quiet === true) return;
    if (progress === undefined) process.stderr.write(`${line}\n`);
    else progress.say(line);
  };
  const ui: NightUi = {
    begin: (runProgress, forecast) => {
      progress = showProgress(runProgress, { quiet: options.quiet === true, forecast });
    },
    say,
    report: (item: Finding) => {
      if (blocks(item) || options.quiet !== true) say(findingText(item));
    },
  };
  const live = options.page === undefined ? null : await livePage(options.page, folders, ui);
  try {
    const result = await runNight(
      {
        folders,
        rolls: { only: options.roll ?? [], first: options.first ?? [] },
        by: options.by,
        pull,
        profiles: profilesOf(options),
        readers: options.readers ?? DEFAULT_READERS,
        workers: options.workers ?? null,
        slots: options.slots ?? null,
        statedRate: options.rate ?? null,
        stills: options.stills,
        segments: options.segments,
        replace: options.replace,
        settings,
        ignore: options.ignore ?? [],
        queue,
        volumes,
        ...(options.ffmpeg === undefined ? {} : { ffmpeg: options.ffmpeg }),
        ...(options.ffprobe === undefined ? {} : { ffprobe: options.ffprobe }),
        stallSeconds: options.stallSeconds ?? DEFAULT_STALL_SECONDS,
        waitForRun: options.waitForRun === true,
        patienceSeconds: options.patienceSeconds ?? DEFAULT_PATIENCE_SECONDS,
      },
      interrupts,
      ui,
    );
    return { ...result, findings: [...result.findings, ...(live?.findings() ?? [])] };
  } finally {
    progress?.stop();
    await live?.end();
    interrupts.end();
  }
}

/** How long a run waits for the address of its page, so that it is printed first. */
const PAGE_MILLISECONDS = 5_000;

interface LivePage {
  /** What went wrong with it: no verdict rests on it. */
  findings(): readonly Finding[];
  end(): Promise<void>;
}

async function livePage(
  address: ServeAddress,
  { work, delivery, dayName }: NightFolders,
  { report }: Pick<NightUi, 'report'>,
): Promise<LivePage> {
  const { startPageThread } = await import('../live/page-thread.ts');
  const findings: Finding[] = [];
  const note = (why: string): void => {
    const found = finding('page-not-served', `${originOf(address)}: ${why}`, 'an address that can be served');
    findings.push(found);
    report(found);
  };
  const thread = startPageThread(
    { watch: { work, delivery, day: dayName, awaited: true }, address, serves: false },
    note,
  );
  const said = thread.started.then((started) => {
    if ('why' in started) note(started.why);
    // Also where nothing else is said: nobody can guess it.
    else process.stderr.write(`${pageAddressText(started.addresses)}\n`);
  });
  // A thread that is slow to begin does not keep the run from beginning.
  await Promise.race([said, wait(PAGE_MILLISECONDS, undefined, { ref: false })]);
  return { findings: () => findings, end: thread.end };
}
