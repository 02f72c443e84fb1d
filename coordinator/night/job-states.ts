/**
 * The states of one job and how it moves between them. Pure: what is to be done about a move is handed back as a word, and
 * the job tracker (job-tracker.ts) does it. The states are described there.
 *
 * What can happen to a job:
 *
 *   send              the tracker puts it into the queue, under a new id
 *   lies-there        a segment of a long clip that an interrupted run finished: it is not made again
 *   sent              the queue has taken it
 *   not-sent          the queue refused it; counted as a loss
 *   claimed           a machine works on it. `claim` is the number of that claim: it only grows, and a lower one never
 *                     replaces a higher one, so that late word of an earlier machine changes nothing
 *   requeued          the queue holds it for a further attempt: nobody works on it now
 *   withdrawn         the tracker took it back before anybody worked on it
 *   ended             the queue has done with it: `completed` or `failed`, after the queue's own attempts, or `lost`, when the
 *                     queue does not know it any more. None of these says that there is a result
 *   looked            the disk was looked at: `settled`, every deliverable has its report; `segment`, its part of a long clip
 *                     lies there and is not joined yet; `target`, the place failed and not the job; `nothing`, none of these
 *   look-failed       the disk could not be looked at
 *   given-back        the machine could not do it, for a reason of its own (no such volume, other programs). It is no
 *                     ending of the job: the machine is set aside for a while, and for longer each time
 *   machine-set-aside a machine takes no more work: what it had comes back, not counted
 *   joined            the segments of the long clip were joined into one file
 *   segment-lost      the segment does not lie there any more, or not whole, and they are not joined yet
 *   drop              nothing more is waited for
 *
 * `given-back`, `machine-set-aside` and claim numbers are of work on many machines.
 */

export const jobStates = [
  'pending',
  'sending',
  'queued',
  'active',
  'checking',
  'unjoined',
  'done',
  'given-up',
  'dropped',
] as const;
export type JobState = (typeof jobStates)[number];

const endStates = ['done', 'given-up', 'dropped'] as const satisfies readonly JobState[];
export function isEnd(state: JobState): state is (typeof endStates)[number] {
  return (endStates as readonly JobState[]).includes(state);
}

export type Ending = 'completed' | 'failed' | 'lost';

export interface JobRecord {
  readonly state: JobState;
  /** How often it was put into the queue. */
  readonly queueings: number;
  /** How often it ended, completed or failed, without a result on disk. */
  readonly endings: number;
  /** How often the queue lost it, or did not take it. */
  readonly losses: number;
  /** How often a machine gave it back. */
  readonly givenBack: number;
  /** The highest claim number heard of; 0: none. */
  readonly claim: number;
  /** Who works on it; null: nobody, or a machine without a name. */
  readonly machine: string | null;
  /** How it came back last, in words; empty: it never did. */
  readonly last: string;
  /** Of the look under way: what the queue said. */
  readonly ending: Ending | null;
}

export const newRecord: JobRecord = {
  state: 'pending',
  queueings: 0,
  endings: 0,
  losses: 0,
  givenBack: 0,
  claim: 0,
  machine: null,
  last: '',
  ending: null,
};

/** From a machine; `claim` null: from a queue without claim numbers, or by the queue's own word. */
interface OfAClaim {
  readonly claim: number | null;
}

export type JobEvent =
  | {
      readonly kind:
        | 'send'
        | 'sent'
        | 'lies-there'
        | 'requeued'
        | 'withdrawn'
        | 'look-failed'
        | 'joined'
        | 'segment-lost'
        | 'drop';
    }
  | { readonly kind: 'not-sent'; readonly reason: string }
  | ({ readonly kind: 'claimed'; readonly machine: string | null } & OfAClaim)
  | ({ readonly kind: 'ended'; readonly how: Ending; readonly reason: string | null } & OfAClaim)
  | { readonly kind: 'looked'; readonly found: 'completion' | 'segment' | 'target' | 'nothing' }
  | ({ readonly kind: 'given-back'; readonly reason: string } & OfAClaim)
  | { readonly kind: 'machine-set-aside'; readonly machine: string };

/** `add`: to the queue, under the id of this queueing. `look`: at the disk. `offer`: to the queue again, if the run still sends. */
export type Effect = 'add' | 'look' | 'offer';

export interface Step {
  readonly record: JobRecord;
  readonly effect: Effect | null;
}

/** A job that ends without a result three times has something wrong with it; each ending stands for several attempts. */
export const ENDINGS = 3;
/** A store that loses jobs loses all of them, again and again, through no fault of theirs. */
export const LOSSES = 20;
/** Machines that give back are asked again after longer and longer: what came back so often has gone round for hours. */
export const GIVE_BACKS = 20;

type Rules = {
  readonly [Kind in JobEvent['kind']]: (
    record: JobRecord,
    event: Extract<JobEvent, { readonly kind: Kind }>,
  ) => Step;
};

const stays = (record: JobRecord): Step => ({ record, effect: null });

const becomes =
  (state: JobState, effect: Effect | null = null) =>
  (record: JobRecord): Step => ({ record: { ...record, state }, effect });

/** Nobody works on it, and the queue does not hold it. */
const comesBack = (record: JobRecord, fields: Partial<JobRecord> = {}): Step => ({
  record: { ...record, state: 'pending', machine: null, ending: null, ...fields },
  effect: 'offer',
});

/** The same, but counted: given up when it was counted too often. */
function comesBackCounted(record: JobRecord, fields: Partial<JobRecord>): Step {
  const counted = { ...record, ...fields };
  return counted.endings < ENDINGS && counted.losses < LOSSES && counted.givenBack < GIVE_BACKS
    ? comesBack(counted)
    : { record: { ...counted, state: 'given-up', machine: null, ending: null }, effect: null };
}

const claimed: Rules['claimed'] = (record, { claim, machine }) =>
  stays({ ...record, state: 'active', claim: claim ?? record.claim, machine });

const ended: Rules['ended'] = (record, { how, reason }) => ({
  record: { ...record, state: 'checking', ending: how, last: reason === null ? how : `${how}, ${reason}` },
  effect: 'look',
});

const givenBack: Rules['given-back'] = (record, { reason }) =>
  comesBackCounted(record, { givenBack: record.givenBack + 1, last: `given back, ${reason}` });

const looked: Rules['looked'] = (record, { found }) => {
  if (found === 'completion') return becomes('done')(record);
  if (found === 'segment') return becomes('unjoined')(record);
  if (found === 'target') return comesBack(record);
  return record.ending === 'lost'
    ? comesBackCounted(record, { losses: record.losses + 1 })
    : comesBackCounted(record, { endings: record.endings + 1 });
};

/** Nothing moves it but the end. */
const nothing: Rules = {
  send: stays,
  'lies-there': stays,
  sent: stays,
  'not-sent': stays,
  claimed: stays,
  requeued: stays,
  withdrawn: stays,
  ended: stays,
  looked: stays,
  'look-failed': stays,
  'given-back': stays,
  'machine-set-aside': stays,
  joined: stays,
  'segment-lost': stays,
  drop: becomes('dropped'),
};
const over: Rules = { ...nothing, drop: stays };

/** What is not named in a row leaves the job where it is. */
const table: Readonly<Record<JobState, Rules>> = {
  pending: {
    ...nothing,
    send: (record) => ({
      record: { ...record, state: 'sending', queueings: record.queueings + 1 },
      effect: 'add',
    }),
    'lies-there': becomes('unjoined'),
  },
  sending: {
    ...nothing,
    sent: becomes('queued'),
    // Not offered again at once: a queue that refuses would be asked without a pause.
    'not-sent': (record, { reason }) => ({
      ...comesBackCounted(record, { losses: record.losses + 1, last: `not queued, ${reason}` }),
      effect: null,
    }),
    // A machine may be faster than the queue's answer.
    claimed,
    ended,
    'given-back': givenBack,
  },
  queued: {
    ...nothing,
    claimed,
    withdrawn: (record) => comesBack(record),
    ended,
    'given-back': givenBack,
  },
  active: {
    ...nothing,
    claimed,
    requeued: (record) => stays({ ...record, state: 'queued', machine: null }),
    // The queue lets go only of what nobody works on: word of that was late.
    withdrawn: (record) => comesBack(record),
    ended,
    'given-back': givenBack,
    'machine-set-aside': (record, { machine }) =>
      machine === record.machine ? comesBack(record, { last: `${machine} was set aside` }) : stays(record),
  },
  checking: {
    ...nothing,
    looked,
    // The next reconciliation asks the queue again, which says again that the job has ended.
    'look-failed': (record) => stays({ ...record, state: 'queued', machine: null, ending: null }),
  },
  unjoined: {
    ...nothing,
    joined: (record) => ({
      record: { ...record, state: 'checking', ending: 'completed', last: 'joined' },
      effect: 'look',
    }),
    // Counted: a place that loses segments again and again is told.
    'segment-lost': (record) =>
      comesBackCounted(record, {
        endings: record.endings + 1,
        last: 'its segment was not there, or not whole, when it was to be joined',
      }),
  },
  done: over,
  'given-up': over,
  dropped: over,
};

/** A word of a claim that another one has replaced. */
function isStale(record: JobRecord, event: JobEvent): boolean {
  return 'claim' in event && event.claim !== null && event.claim < record.claim;
}

export function step(record: JobRecord, event: JobEvent): Step {
  if (isStale(record, event)) return stays(record);
  const rule = table[record.state][event.kind] as (record: JobRecord, event: JobEvent) => Step;
  return rule(record, event);
}
