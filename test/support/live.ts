/** Runs to be shown on a live page, without a run: what one look sees, and a source whose looks a test decides. */
import type { Watched } from '../../coordinator/live/look.ts';
import { nothingSeen, type Seen } from '../../coordinator/live/seen.ts';
import type { ProgressRecord } from '../../coordinator/progress/record.ts';
import type { NightRecord } from '../../handover/night.ts';

export type RollRecord = ProgressRecord['rolls'][number];

export const rollRecord = (
  roll: string,
  phase: RollRecord['phase'],
  over: Partial<RollRecord> = {},
): RollRecord => ({
  ...{ roll, phase, bytesRead: 0, bytesTotal: 0, clips: 4, clipsMeasured: 4 },
  ...{ jobs: 4, jobsOver: 1, frames: 400, framesMade: 100, afterwards: [] },
  ...over,
});

export const progressRecord = (over: Partial<ProgressRecord> = {}): ProgressRecord => ({
  ...({ version: 0, kind: 'progress' } as const),
  ...{ run: 'r1', day: 'day-07', since: '2026-11-30T21:12:00.000Z', at: '2026-11-30T23:12:00.000Z' },
  ...{ timeZone: 'Europe/Berlin', framesPerSecond: 24.4, freeBytes: 812_000_000_000 },
  ...{ rolls: [], working: [], forecast: null },
  ...over,
});

export const working = (count: number): ProgressRecord['working'] =>
  Array.from({ length: count }, (_, at) => ({
    roll: `A${String(1 + Math.floor(at / 4)).padStart(3, '0')}`,
    clip: `A${String(1 + Math.floor(at / 4)).padStart(3, '0')}C${String(1 + (at % 4)).padStart(3, '0')}`,
    phase: at % 5 === 4 ? 'check' : 'make',
    frames: 50 + at,
    total: 400,
  }));

export const nightRecord = (over: Partial<NightRecord> = {}): NightRecord => ({
  ...({ version: 0, kind: 'night' } as const),
  ...{ day: 'day-07', run: 'r1', began: '2026-11-30T21:12:00.000Z', ended: '2026-12-01T03:05:00.000Z' },
  ...{ interrupted: false, rolls: [], findings: [] },
  ...over,
});

export const seenAt = (over: Partial<Seen>): Seen => ({
  ...nothingSeen,
  ...{ delivery: '/volumes/proxies', day: 'day-07', timeZone: 'Europe/Berlin', ageSeconds: 1, pid: 4242 },
  ...over,
});

export interface Staged extends Watched {
  seen: Seen;
  pictures: Map<string, Buffer>;
  looks: number;
}

/** What the next look finds is what a test puts there. */
export function stagedRun(seen: Seen): Staged {
  const staged: Staged = {
    seen,
    pictures: new Map(),
    looks: 0,
    look: async () => {
      staged.looks += 1;
      return staged.seen;
    },
    still: (version) => staged.pictures.get(version) ?? null,
  };
  return staged;
}
