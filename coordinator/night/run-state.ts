/** One run of a night: its names, its log, what was noted, and why it ends before its end. */
import { join } from 'node:path';
import type { Logger } from 'pino';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { openLog } from './log.ts';
import { nightOfFolders } from './names.ts';
import type { NightRequest, NightUi } from './request.ts';
import { newRunEvents, type RunEvents } from './run-events.ts';

export interface RunState {
  readonly run: string;
  readonly night: string;
  readonly logFolder: string;
  readonly logger: Logger;
  readonly events: RunEvents;
  /** Aborted when nothing is to be begun any more; the reason carries the finding. */
  readonly signal: AbortSignal;
  /** What passed, and is reported at the end. */
  readonly notes: readonly Finding[];
  /** Why the run ends early; null: it does not. */
  readonly halted: Finding | null;
  log(message: string, fields: Record<string, unknown>): void;
  note(found: Finding): void;
  /** Nothing new is begun; what is not made yet is held. The first reason is kept: false when there is one. */
  halt(found: Finding): boolean;
  /** performance.now() of the beginning. */
  readonly began: number;
  close(): Promise<void>;
}

/** `run`: a name of its own (names.ts). */
export function openRun(
  { folders, volumes }: Pick<NightRequest, 'folders' | 'volumes'>,
  ui: Pick<NightUi, 'report'>,
  run: string,
): RunState {
  const logFolder = join(folders.work, 'logs');
  const { logger, close } = openLog(logFolder, run);
  const ending = new AbortController();
  const events = newRunEvents();
  const notes: Finding[] = [];
  let halted: Finding | null = null;
  const note = (found: Finding): void => {
    logger.warn({ finding: found }, 'note');
    notes.push(found);
    ui.report(found);
  };
  events.on('note', note);
  return {
    run,
    night: nightOfFolders(folders, volumes ?? null),
    logFolder,
    logger,
    events,
    signal: ending.signal,
    notes,
    get halted() {
      return halted;
    },
    log: (message, fields) => logger.info(fields, message),
    note,
    halt(found) {
      if (halted !== null) return false;
      halted = found;
      logger.error({ finding: found }, 'the night ends early');
      ending.abort(new FindingError([found]));
      return true;
    },
    began: performance.now(),
    close,
  };
}
