/** The night as it goes, on stderr: a bar for each roll on a terminal, a plain line now and then elsewhere. */
import { MultiBar, type SingleBar } from 'cli-progress';
import { printable } from '../../files/names.ts';
import type { Board, RollStand } from '../progress/board.ts';
import { bytesText, count, durationText } from './words.ts';

export interface Progress {
  /** A line for people, above the bars. */
  say(line: string): void;
  stop(): void;
}

const LINE_MILLISECONDS = 10_000;
const BAR_MILLISECONDS = 500;

/** Share done of the phase, and what is told beside it. Pure. */
function standText(stand: RollStand, rate: number | null): { done: number; total: number; text: string } {
  switch (stand.phase) {
    case 'reading':
      return {
        done: stand.bytesRead,
        total: Math.max(1, stand.bytesTotal),
        text: `reading    ${bytesText(stand.bytesRead)} of ${bytesText(stand.bytesTotal)}`,
      };
    case 'measuring':
      return {
        done: stand.clipsMeasured,
        total: Math.max(1, stand.clips),
        text: `measuring  ${stand.clipsMeasured} of ${count(stand.clips, 'clip')}`,
      };
    case 'making': {
      const left = stand.frames - stand.framesMade;
      const speed = rate === null ? '' : `, ${rate.toFixed(rate < 10 ? 1 : 0)} frames/s`;
      const remaining = rate === null || rate <= 0 || left === 0 ? '' : `, ${durationText(left / rate)} left`;
      return {
        done: stand.framesMade,
        total: Math.max(1, stand.frames),
        text: `making     ${stand.framesMade} of ${count(stand.frames, 'frame')}, ${stand.jobsOver} of ${count(stand.jobs, 'clip')}${speed}${remaining}`,
      };
    }
    case 'waiting':
      return { done: 0, total: 1, text: 'waiting' };
    case 'ready':
    case 'held':
      return { done: 1, total: 1, text: stand.phase };
  }
}

export function showProgress(board: Board, options: { readonly quiet: boolean }): Progress {
  if (options.quiet) return { say: () => undefined, stop: () => undefined };
  return process.stderr.isTTY ? bars(board) : lines(board);
}

function bars(board: Board): Progress {
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
    const rate = board.rate();
    for (const stand of board.rolls()) {
      const { done, total, text } = standText(stand, rate);
      const payload = { roll: printable(stand.roll).padEnd(8), text };
      const bar = all.get(stand.roll) ?? multi.create(total, 0, payload);
      all.set(stand.roll, bar);
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

function lines(board: Board): Progress {
  const write = (line: string): void => void process.stderr.write(`${line}\n`);
  let before = '';
  const tell = (): void => {
    const rate = board.rate();
    const busy = board
      .rolls()
      .filter(
        (stand) => stand.phase === 'reading' || stand.phase === 'measuring' || stand.phase === 'making',
      );
    const text = busy.map((stand) => `${printable(stand.roll)}: ${standText(stand, rate).text}`).join('\n');
    if (text !== '' && text !== before) write(text);
    before = text;
  };
  const timer = setInterval(tell, LINE_MILLISECONDS);
  timer.unref();
  return { say: write, stop: () => clearInterval(timer) };
}
