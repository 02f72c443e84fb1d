/** The night as it goes, on stderr: a bar for each roll on a terminal, a plain line now and then elsewhere. */
import { MultiBar, type SingleBar } from 'cli-progress';
import { printable } from '../../files/names.ts';
import type { NightForecast } from '../progress/forecast.ts';
import { forecastLine, leftText } from './forecast-text.ts';
import type { RunProgress, RollProgress } from '../progress/run-progress.ts';
import { bytesText, count, durationText } from './words.ts';

export interface Progress {
  /** A line for people, above the bars. */
  say(line: string): void;
  stop(): void;
}

const LINE_MILLISECONDS = 10_000;
const BAR_MILLISECONDS = 500;

/** What is done with frames that are made: `checking 812 of 21578 frames`. */
function afterwardsText({ afterwards }: RollProgress): string {
  const checked = afterwards.filter(({ phase }) => phase === 'check');
  if (checked.length === 0) return afterwards.length === 0 ? 'waiting for its checks' : 'publishing';
  const sum = (of: 'frames' | 'total'): number => checked.reduce((all, one) => all + one[of], 0);
  return `checking ${sum('frames')} of ${count(sum('total'), 'frame')}`;
}

/** Share done of the phase, and what is reported beside it. Pure. `forecast`: null: when the roll will be ready is not known. */
export function progressText(
  progress: RollProgress,
  rate: number | null,
  forecast: RollForecast | null = null,
): { done: number; total: number; text: string } {
  switch (progress.phase) {
    case 'reading':
      return {
        done: progress.bytesRead,
        total: Math.max(1, progress.bytesTotal),
        text: `reading    ${bytesText(progress.bytesRead)} of ${bytesText(progress.bytesTotal)}`,
      };
    case 'measuring':
      return {
        done: progress.clipsMeasured,
        total: Math.max(1, progress.clips),
        text: `measuring  ${progress.clipsMeasured} of ${count(progress.clips, 'clip')}`,
      };
    case 'making': {
      const left = progress.frames - progress.framesMade;
      const speed = rate === null ? '' : `, ${rate.toFixed(rate < 10 ? 1 : 0)} frames/s`;
      // How long frames take says nothing of checks: where they are all that is left, what is done is said instead.
      const frames = rate === null || rate <= 0 || left === 0 ? '' : `, ${durationText(left / rate)} left`;
      const known = forecast?.left ?? null;
      const remaining = known === null ? frames : `, ${leftText(known)}`;
      const hour =
        forecast?.inTime === 'late' ? ', late' : forecast?.inTime === 'at-risk' ? ', may be late' : '';
      if (left === 0 && progress.jobsOver < progress.jobs) {
        return {
          done: progress.framesMade,
          total: Math.max(1, progress.frames),
          text: `${afterwardsText(progress)}, ${progress.jobsOver} of ${count(progress.jobs, 'clip')}${known === null ? '' : remaining}${hour}`,
        };
      }
      return {
        done: progress.framesMade,
        total: Math.max(1, progress.frames),
        text: `making     ${progress.framesMade} of ${count(progress.frames, 'frame')}, ${progress.jobsOver} of ${count(progress.jobs, 'clip')}${speed}${remaining}${hour}${progress.afterwards.length === 0 ? '' : `; ${afterwardsText(progress)}`}`,
      };
    }
    case 'waiting':
      return { done: 0, total: 1, text: 'waiting' };
    case 'ready':
    case 'held':
      return { done: 1, total: 1, text: progress.phase };
  }
}

/** Of one roll, while the run goes on. */
type RollForecast = NightForecast['rolls'][number];
type AskForecast = () => NightForecast | null;

const ofRoll = (forecast: NightForecast | null, roll: string): RollForecast | null =>
  forecast?.rolls.find((one) => one.roll === roll) ?? null;

export function showProgress(
  runProgress: RunProgress,
  options: { readonly quiet: boolean; readonly forecast?: AskForecast },
): Progress {
  if (options.quiet) return { say: () => undefined, stop: () => undefined };
  const ask = options.forecast ?? (() => null);
  return process.stderr.isTTY ? bars(runProgress, ask) : lines(runProgress, ask);
}

function bars(runProgress: RunProgress, ask: AskForecast): Progress {
  const multi = new MultiBar(
    {
      stream: process.stderr,
      format: '{roll} {bar} {percentage} % {text}',
      barsize: 24,
      hideCursor: true,
      clearOnComplete: false,
      autopadding: true,
      gracefulExit: false,
    },
    undefined,
  );
  const all = new Map<string, SingleBar>();
  const draw = (): void => {
    const rate = runProgress.rate();
    const forecast = ask();
    for (const progress of runProgress.rolls()) {
      const { done, total, text } = progressText(progress, rate, ofRoll(forecast, progress.roll));
      const payload = { roll: printable(progress.roll).padEnd(8), text };
      const bar = all.get(progress.roll) ?? multi.create(total, 0, payload);
      all.set(progress.roll, bar);
      bar.setTotal(total);
      bar.update(Math.min(done, total), payload);
    }
  };
  const timer = setInterval(draw, BAR_MILLISECONDS);
  timer.unref();
  draw();
  return {
    say: (line) => multi.log(`${line}\n`),
    stop: () => {
      clearInterval(timer);
      draw();
      multi.stop();
    },
  };
}

function lines(runProgress: RunProgress, ask: AskForecast): Progress {
  const write = (line: string): void => void process.stderr.write(`${line}\n`);
  let before = '';
  const report = (): void => {
    const rate = runProgress.rate();
    const forecast = ask();
    const busy = runProgress
      .rolls()
      .filter(
        (progress) =>
          progress.phase === 'reading' || progress.phase === 'measuring' || progress.phase === 'making',
      );
    const text = busy
      .map(
        (progress) =>
          `${printable(progress.roll)}: ${progressText(progress, rate, ofRoll(forecast, progress.roll)).text}`,
      )
      .concat(forecast === null ? [] : [forecastLine(forecast, Date.now())])
      .join('\n');
    if (text !== '' && text !== before) write(text);
    before = text;
  };
  const timer = setInterval(report, LINE_MILLISECONDS);
  timer.unref();
  return { say: write, stop: () => clearInterval(timer) };
}
