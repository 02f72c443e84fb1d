/**
 * Looks at a run from outside, as `status --watch` does: by its lock, what it writes of its progress, and the records of its day. Writes
 * nothing but what asks workers for a picture (views.ts).
 */
import { lstat, readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { blocks } from '../../findings/finding.ts';
import { fsPath } from '../../files/names.ts';
import { pageLayout } from '../../handover/layout.ts';
import { type NightRecord, readNight } from '../../handover/night.ts';
import { layout } from '../../ledger/layout.ts';
import { workPlace } from '../../ledger/lease.ts';
import { type LeaseWatch, type PlaceState, stateOfPlace, watchLeases } from '../../ledger/lease-file.ts';
import { ownerOfName, thisOwner } from '../../ledger/owner.ts';
import { readProgress } from '../night/keep-progress.ts';
import { readRunning } from '../night/running.ts';
import type { ProgressRecord } from '../progress/record.ts';
import { heldReader } from './held.ts';
import { type HeldSeen, nothingSeen, type RunStateSeen, type Seen } from './seen.ts';
import { newestStill } from './stills.ts';
import { frameViews } from './views.ts';

export interface WhatToWatch {
  readonly work: string;
  /** null: as the run says. */
  readonly delivery: string | null;
  /** The day that a run was started for; null: as the run says, or the delivery's newest. */
  readonly day: string | null;
  /** A run is about to begin: until it is seen, what stands there is an older one's. */
  readonly awaited: boolean;
}

export interface Watched {
  look(): Promise<Seen>;
  /** Of `Seen.still`; null: it is another one by now. */
  still(version: string): Buffer | null;
}

/** Listing all days of a delivery is not for every look. */
const DAYS_MILLISECONDS = 10_000;

export function watchRecords(
  { work, delivery: told, day: toldDay, awaited }: WhatToWatch,
  now: () => number = Date.now,
): Watched {
  const leases: LeaseWatch = watchLeases();
  const held = heldReader();
  const stills = newestStill();
  const views = frameViews();
  const newestDay = dayFinder(now);
  let isAwaited = awaited;
  let lastRun: string | null = null;
  let timeZone: string | null = null;
  let delivery = told;
  let day = toldDay;
  return {
    still: (version) => views.picture(version) ?? stills.picture(version),
    look: async () => {
      const lock = await stateOfPlace(workPlace(work), leases);
      const isThere = lock.state !== 'free';
      const run = isThere ? (lock.lease?.run ?? null) : null;
      const [record, running] = await Promise.all([readProgress(work, run), readRunning(work)]);
      timeZone = record?.timeZone ?? timeZone;
      if (isThere) {
        isAwaited = false;
        lastRun = lock.lease?.run ?? lastRun;
        delivery = told ?? running?.delivery ?? delivery;
        day = toldDay ?? record?.day ?? running?.day ?? day;
      } else if (isAwaited) return { ...nothingSeen, delivery: told, day: toldDay, state: 'beginning' };
      else if (delivery !== null && day === null) day = record?.day ?? (await newestDay(delivery));
      const night = delivery === null || day === null ? null : await nightOf(delivery, day);
      const known = { isThere, record, night, lastRun };
      const state = stateOf(known);
      // A record that a killed run left says how far it was; one of a run that goes on, how it stands.
      const shown = state === 'running' || state === 'stopped' ? record : null;
      const ofNight = state === 'beginning' || state === 'none' ? null : nightOfRun(known);
      const rolls = rollsIn(shown, ofNight);
      const findings = await heldOf({ held, delivery, day, rolls, night: ofNight });
      return {
        ...{ state, delivery, day, timeZone, record: shown, night: ofNight, held: findings },
        ageSeconds: shown === null ? null : Math.max(0, (now() - Date.parse(shown.at)) / 1000),
        pid: pidOf(lock),
        still:
          delivery === null || day === null
            ? null
            : ((await views.look(delivery, day, state === 'running' ? makingOf(rolls) : [])) ??
              (await stills.look(delivery, day, mayHaveNew(rolls)))),
        morning: await morningOf(delivery, day, state),
      };
    },
  };
}

interface Known {
  readonly isThere: boolean;
  readonly record: ProgressRecord | null;
  readonly night: NightRecord | null;
  /** The run that was seen at work; null: none was. */
  readonly lastRun: string | null;
}

/** What the day's record says of the run that was watched; where none was, of the last one. */
const nightOfRun = ({ night, lastRun, record }: Known): NightRecord | null =>
  night !== null && (lastRun ?? record?.run ?? night.run) === night.run ? night : null;

function stateOf(known: Known): RunStateSeen {
  const { isThere, record, lastRun } = known;
  const night = nightOfRun(known);
  if (isThere) return record === null ? (night?.ended == null ? 'beginning' : endOf(night)) : 'running';
  if (night?.ended != null) return endOf(night);
  // Killed: what it wrote of its progress lies there, or its night has no end. One that was refused never began.
  return record !== null || night !== null || lastRun !== null ? 'stopped' : 'none';
}

const endOf = ({ interrupted }: NightRecord): 'interrupted' | 'ended' =>
  interrupted ? 'interrupted' : 'ended';

interface RollState {
  readonly roll: string;
  readonly phase: string;
}

function rollsIn(record: ProgressRecord | null, night: NightRecord | null): RollState[] {
  if (record !== null) return record.rolls;
  return (night?.rolls ?? []).map(({ roll, verdict }) => ({ roll, phase: verdict ?? 'held' }));
}

const makingOf = (rolls: readonly RollState[]): string[] =>
  rolls.filter(({ phase }) => phase === 'making').map(({ roll }) => roll);

/** Those in work; where none is, those that are over, the last first. */
function mayHaveNew(rolls: readonly RollState[]): string[] {
  const over = rolls.filter(({ phase }) => phase === 'ready' || phase === 'held').reverse();
  return [...makingOf(rolls), ...over.map(({ roll }) => roll)];
}

interface HeldRequest {
  readonly held: ReturnType<typeof heldReader>;
  readonly delivery: string | null;
  readonly day: string | null;
  readonly rolls: readonly RollState[];
  readonly night: NightRecord | null;
}

async function heldOf({ held, delivery, day, rolls, night }: HeldRequest): Promise<HeldSeen[]> {
  if (delivery === null || day === null) return [];
  const whole = (night?.findings ?? []).filter(blocks);
  // Of a roll without a record of this run, the night's own record says why.
  const unrecorded = new Map(
    (night?.rolls ?? []).filter(({ recorded }) => !recorded).map(({ roll, findings }) => [roll, findings]),
  );
  const names = rolls.filter(({ phase }) => phase === 'held').map(({ roll }) => roll);
  const recorded = await held.read(
    delivery,
    day,
    names.filter((roll) => (unrecorded.get(roll)?.length ?? 0) === 0),
  );
  return [
    ...(whole.length === 0 ? [] : [{ roll: null, findings: whole }]),
    ...names.flatMap((roll): HeldSeen[] => {
      const findings = (unrecorded.get(roll) ?? []).filter(blocks);
      return findings.length > 0
        ? [{ roll, findings }]
        : recorded.filter((one) => one.roll === roll && one.findings.length > 0);
    }),
  ];
}

async function nightOf(delivery: string, day: string): Promise<NightRecord | null> {
  const read = await readNight(layout.dayFolder(delivery, day));
  return read.state === 'read' ? read.value : null;
}

/** Of a run on this machine; another one's number says nothing here. */
function pidOf(lock: PlaceState): number | null {
  if (lock.state === 'free' || lock.lease === null) return null;
  const owner = ownerOfName(lock.lease.owner);
  return owner !== null && owner.machine === thisOwner().machine ? owner.pid : null;
}

async function morningOf(
  delivery: string | null,
  day: string | null,
  state: RunStateSeen,
): Promise<string | null> {
  if (delivery === null || day === null || state === 'beginning' || state === 'running') return null;
  const page = pageLayout.page(layout.dayFolder(delivery, day));
  return (await lstat(fsPath(page)).catch(() => null))?.isFile() === true ? page : null;
}

/** The day of a delivery whose run began last, by its name. */
function dayFinder(now: () => number): (delivery: string) => Promise<string | null> {
  let looked = Number.NEGATIVE_INFINITY;
  let found: string | null = null;
  return async (delivery) => {
    if (now() - looked < DAYS_MILLISECONDS) return found;
    looked = now();
    let began = '';
    for (const entry of await readdir(fsPath(delivery), { withFileTypes: true }).catch(() => [])) {
      if (!entry.isDirectory()) continue;
      const read = await readNight(join(delivery, entry.name));
      if (read.state !== 'read' || read.value.began <= began) continue;
      began = read.value.began;
      found = read.value.day;
    }
    return found;
  };
}
