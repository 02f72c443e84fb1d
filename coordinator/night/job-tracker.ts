/**
 * From jobs to results on disk. Every job is in one state:
 *
 *   pending    known here alone: not sent yet, or come back. It is sent as soon as the run sends
 *   sending    on its way into the queue, which cannot be asked about it yet
 *   queued     the queue has it, and nobody is known to work on it
 *   active     a machine works on it
 *   checking   the queue has done with it, whatever it calls that; its reports are being read from the disk
 *   unjoined   a segment of a long clip that lies finished on disk, until all of them are joined
 *   done       every deliverable of it has its report on disk: published, or failed for good
 *   given-up   it came back without a result too often; a finding says so
 *   dropped    the run ended before it did
 *
 * The last three are ends: nothing moves a job out of them, and `assertNothingLeft` holds that every job is in one of them
 * when the run is over. What moves a job, and where to, is the table in job-states.ts. Here is what makes it happen: the
 * queue's hints, the queue's answers when it is asked about every job (`reconcile`), and what lies on disk, which alone
 * says whether a job is done. `move` is the only place that changes a job; every change of state is reported as `job-moved`.
 *
 * The run itself is in one of three modes:
 *
 *   going      what is pending is sent
 *   paused     nothing is sent, and what nobody works on is taken back, until `resume`
 *   finishing  nothing is sent any more: what is pending, and what can be taken back, is dropped. There is no way back
 */
import { append } from '../../findings/append.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import { readGivenBack } from '../../ledger/farm.ts';
import type { Job } from '../../ledger/job.ts';
import { readStills } from '../../ledger/stills.ts';
import { jobId } from '../dispatch/flow.ts';
import type { NightQueue, QueueState } from '../dispatch/night-queue.ts';
import type { DeliverableOnDisk } from '../gate/input.ts';
import { isEnd, type JobEvent, type JobRecord, type JobState, newRecord, step } from './job-states.ts';
import type { RunEvents } from './run-events.ts';
import { areStillsComplete, isComplete, placeFailure, readResults } from './complete.ts';

export interface Work {
  readonly job: Job;
  /** 1 runs first. */
  readonly priority: number;
}

export interface TrackerRequest {
  readonly run: string;
  /** Asked for only once something is to be made; throws before the queue is open. */
  queue(): NightQueue;
  readonly events: RunEvents;
  /** Aborted when nothing is to be begun any more. */
  readonly signal?: AbortSignal;
  /** Asks the target itself: a volume that is gone takes the reports with it that would say so. */
  isTargetHealthy(): Promise<boolean>;
  /** Ids of the machines of a farm that do jobs of this queue; absent: this machine is alone. */
  readonly fitFor?: (queue: string) => readonly string[];
  log(message: string, fields: Record<string, unknown>): void;
  /** In the order of the job's deliverables. */
  readonly read?: (job: Job) => Promise<DeliverableOnDisk[]>;
}

export interface JobTracker {
  /** Resolves when every job is in an end state; gives what was given up, and why. */
  make(roll: string, work: readonly Work[]): Promise<Finding[]>;
  /** Takes back what nobody works on, until `resume`. */
  pause(): Promise<void>;
  resume(): Promise<void>;
  /** Nothing new is begun; `make` resolves when what is active has ended. */
  finish(): Promise<void>;
  /** Nothing is waited for any more. */
  giveUp(): void;
  /** Holds the queue's word and the disk against each other, for every job that the queue should know. */
  reconcile(): Promise<void>;
  /** Throws with what is left when a job is in no end state. */
  assertNothingLeft(): void;
  /** Jobs in no end state. */
  readonly unfinished: number;
  /** In which jobs wait or are worked on. */
  readonly openQueues: readonly string[];
  /** Jobs that a machine works on, or whose reports are being read. */
  readonly atWork: number;
  /** performance.now() of the last sign of life. */
  readonly lastSign: number;
}

interface Tracked {
  readonly work: Work;
  /** Of all jobs of the run, from 0. */
  readonly number: number;
  readonly batch: Batch;
  /** In the queue: of this queueing alone. */
  id: string;
  record: JobRecord;
  /** As it is sent: with what machines said that gave it back. */
  job: Job;
}

/** The jobs of one call of `make`. */
interface Batch {
  readonly roll: string;
  open: number;
  readonly given: Finding[];
  readonly resolve: (given: Finding[]) => void;
}

type Mode = 'going' | 'paused' | 'finishing';

export function startJobTracker(request: TrackerRequest): JobTracker {
  const tracker = new Tracker(request);
  tracker.listen();
  return tracker;
}

class Tracker implements JobTracker {
  lastSign = performance.now();
  readonly #request: TrackerRequest;
  readonly #read: (job: Job) => Promise<DeliverableOnDisk[]>;
  readonly #all: Tracked[] = [];
  /** Those that the queue may speak of. */
  readonly #byId = new Map<string, Tracked>();
  #mode: Mode;

  constructor(request: TrackerRequest) {
    this.#request = request;
    this.#read = request.read ?? readResults;
    this.#mode = request.signal?.aborted === true ? 'finishing' : 'going';
  }

  get unfinished(): number {
    return this.#all.filter(({ record }) => !isEnd(record.state)).length;
  }

  get openQueues(): readonly string[] {
    const open = this.#all.filter(({ record }) => !isEnd(record.state));
    return [...new Set(open.map(({ job }) => this.#request.queue().queueOf(job)))];
  }

  get atWork(): number {
    return this.#in('active', 'checking').length;
  }

  listen(): void {
    const { events } = this.#request;
    const claimed = { kind: 'claimed', claim: null, machine: null } as const;
    events.on('queue-active', (id) => this.#hint(id, claimed));
    events.on('queue-progress', (id, progress) => {
      const tracked = this.#hint(id, claimed);
      if (tracked !== undefined) events.emit('job-progress', tracked.work.job, progress);
    });
    events.on('queue-ended', (id, how, reason) => {
      const tracked = this.#byId.get(id);
      this.#hint(
        id,
        tracked === undefined || how === 'completed' ? ended(how, reason) : this.#failed(tracked, reason),
      );
    });
    // Whatever hint was missed is made up for.
    events.on('queue-roll-ended', () => this.#inBackground('reconciling', this.reconcile()));
    events.on('store-back', () => this.#inBackground('reconciling', this.reconcile()));
    events.on('stop-now', () => this.giveUp());
    events.on('target-trouble', () => this.#inBackground('pausing', this.pause()));
    events.on('target-well', () => this.#inBackground('resuming', this.resume()));
  }

  make(roll: string, work: readonly Work[]): Promise<Finding[]> {
    if (work.length === 0) return Promise.resolve([]);
    return new Promise((resolve, reject) => {
      const batch: Batch = { roll, open: work.length, given: [], resolve };
      const first = this.#all.length;
      const tracked = work.map(
        (item, index): Tracked => ({
          work: item,
          number: first + index,
          batch,
          id: '',
          record: newRecord,
          job: item.job,
        }),
      );
      append(this.#all, tracked);
      this.#sign();
      this.#offer(tracked).catch(reject);
    });
  }

  async pause(): Promise<void> {
    if (this.#mode !== 'going') return;
    this.#mode = 'paused';
    await this.#withdraw();
  }

  async resume(): Promise<void> {
    if (this.#mode !== 'paused') return;
    this.#mode = 'going';
    this.#sign();
    await this.#offer(this.#in('pending'));
  }

  async finish(): Promise<void> {
    this.#mode = 'finishing';
    await this.#offer(this.#in('pending'));
    await this.#withdraw();
  }

  giveUp(): void {
    this.#mode = 'finishing';
    for (const tracked of this.#all) this.#move(tracked, { kind: 'drop' });
  }

  async reconcile(): Promise<void> {
    const { queue, events } = this.#request;
    if (!(await queue().isOurs())) {
      events.emit('superseded');
      return;
    }
    // What the queue did not take is sent again.
    await this.#offer(this.#in('pending'));
    const asked = this.#in('queued', 'active').map((tracked) => ({ tracked, id: tracked.id }));
    const states = await queue().statesOf(asked.map(({ id }) => id));
    for (const { tracked, id } of asked)
      if (this.#byId.get(id) === tracked) await this.#hear(tracked, states.get(id));
  }

  async #hear(tracked: Tracked, state: QueueState | undefined): Promise<void> {
    if (state !== 'failed') return await this.#happens(tracked, wordOf(state));
    const { id } = tracked;
    const reason = await this.#request.queue().reasonOf(id);
    // A hint may have been faster, and the job queued again.
    if (this.#byId.get(id) === tracked) await this.#happens(tracked, this.#failed(tracked, reason));
  }

  /** What a failure in the queue means; of one that a machine gave back it is remembered who said what. */
  #failed(tracked: Tracked, reason: string | null): JobEvent {
    const back = readGivenBack(reason);
    if (back === null) return ended('failed', reason);
    const { machine, host, finding: found } = back;
    const { batch, job, id } = tracked;
    const fit = this.#request.fitFor?.(this.#request.queue().queueOf(job)) ?? [];
    const alone = fit.every((other) => other === machine);
    const { sole: _, ...rest } = job;
    tracked.job = {
      ...rest,
      witnesses: [...(job.witnesses ?? []), { machine, code: found.code }],
      ...(alone ? { sole: machine } : {}),
    };
    this.#request.log('a machine gave a job back', {
      id,
      roll: batch.roll,
      clip: job.clip.id,
      machine,
      host,
      code: found.code,
      found: found.found,
    });
    return { kind: 'given-back', reason: `${host}: ${found.code}, ${found.found}`, claim: null };
  }

  assertNothingLeft(): void {
    const left = this.#all.filter(({ record }) => !isEnd(record.state));
    if (left.length === 0) return;
    const named = left
      .slice(0, 10)
      .map(({ batch, work, record }) => `${batch.roll} ${work.job.clip.id}: ${record.state}`);
    throw new Error(`${left.length} jobs are in no end state: ${named.join('; ')}`);
  }

  /** The one setter: what is known of a job changes here alone. Gives what is to be done about it. */
  #move(tracked: Tracked, event: JobEvent): 'add' | 'look' | 'offer' | null {
    const from = tracked.record.state;
    const { record, effect } = step(tracked.record, event);
    tracked.record = record;
    if (record.state === from) return effect;
    if (record.state === 'pending' || isEnd(record.state)) this.#byId.delete(tracked.id);
    const { job } = tracked.work;
    this.#request.events.emit('job-moved', { job, roll: tracked.batch.roll, from, to: record.state });
    if (isEnd(record.state)) this.#close(tracked);
    return effect;
  }

  #close({ batch, record, work }: Tracked): void {
    this.#sign();
    if (record.state === 'given-up')
      batch.given.push(
        finding(
          'job-without-result',
          `${record.queueings} times queued; last: ${record.last}`,
          'a report of every deliverable',
          { roll: batch.roll, clip: work.job.clip.id },
        ),
      );
    batch.open -= 1;
    if (batch.open === 0) batch.resolve(batch.given);
  }

  async #happens(tracked: Tracked, event: JobEvent): Promise<void> {
    const effect = this.#move(tracked, event);
    if (effect === 'look') await this.#happens(tracked, await this.#look(tracked));
    else if (effect === 'offer') await this.#offer([tracked]);
  }

  /** Of what is pending: sends it, keeps it, or drops it, as the run's mode says. */
  async #offer(list: readonly Tracked[]): Promise<void> {
    if (this.#mode === 'finishing') for (const tracked of list) this.#dropPending(tracked);
    if (this.#mode !== 'going') return;
    const rolls = new Map<string, Tracked[]>();
    for (const tracked of list) {
      if (this.#move(tracked, { kind: 'send' }) !== 'add') continue;
      tracked.id = jobId(this.#request.run, tracked.number, tracked.record.queueings);
      this.#byId.set(tracked.id, tracked);
      rolls.set(tracked.batch.roll, [...(rolls.get(tracked.batch.roll) ?? []), tracked]);
    }
    for (const [roll, group] of rolls) await this.#add(roll, group);
    // Somebody may have called a halt while they were on their way.
    if (rolls.size > 0) await this.#withdrawUnlessGoing();
  }

  #dropPending(tracked: Tracked): void {
    if (tracked.record.state === 'pending') this.#move(tracked, { kind: 'drop' });
  }

  async #add(roll: string, group: readonly Tracked[]): Promise<void> {
    const sent = group.map((tracked) => ({ tracked, id: tracked.id }));
    let outcome: JobEvent = { kind: 'sent' };
    try {
      await this.#request.queue().add(
        roll,
        sent.map(({ id, tracked: { work, job } }) => ({ id, job, priority: work.priority })),
      );
    } catch (error) {
      this.#request.log('the queue did not take jobs; the next reconciliation sends them again', {
        roll,
        jobs: sent.length,
        error: String(error),
      });
      outcome = { kind: 'not-sent', reason: String(error) };
    }
    for (const { tracked, id } of sent) if (this.#byId.get(id) === tracked) this.#move(tracked, outcome);
  }

  async #withdrawUnlessGoing(): Promise<void> {
    if (this.#mode !== 'going') await this.#withdraw();
  }

  /** Takes back what nobody works on. */
  async #withdraw(): Promise<void> {
    const asked = new Map(this.#in('queued').map((tracked) => [tracked.id, tracked]));
    if (asked.size === 0) return;
    const back: Tracked[] = [];
    for (const id of await this.#request.queue().withdraw([...asked.keys()])) {
      const tracked = asked.get(id);
      if (tracked === undefined || this.#byId.get(id) !== tracked) continue;
      if (this.#move(tracked, { kind: 'withdrawn' }) === 'offer') back.push(tracked);
    }
    // In the mode of now: it may have changed meanwhile.
    await this.#offer(back);
  }

  /** Never rejects. */
  async #look(tracked: Tracked): Promise<JobEvent> {
    const { log } = this.#request;
    const { job } = tracked.work;
    try {
      const found = await this.#findOnDisk(job);
      log('a job ended', {
        id: tracked.id,
        clip: job.clip.id,
        roll: tracked.batch.roll,
        how: tracked.record.last,
        found,
      });
      return { kind: 'looked', found };
    } catch (error) {
      log('a look at the disk failed; the next reconciliation looks again', {
        id: tracked.id,
        error: String(error),
      });
      return { kind: 'look-failed' };
    }
  }

  async #findOnDisk(job: Job): Promise<'completion' | 'target' | 'nothing'> {
    const { events, isTargetHealthy } = this.#request;
    const disk = await this.#read(job);
    const hasStills =
      job.stills === undefined || areStillsComplete(job, await readStills(job.deliveryFolder, job.clip.id));
    if (hasStills && isComplete(job, disk)) return 'completion';
    const [refused] = placeFailure(job, disk);
    if (refused !== undefined) {
      events.emit('target-refused', refused);
      return 'target';
    }
    return (await isTargetHealthy()) ? 'nothing' : 'target';
  }

  #hint(id: string, event: JobEvent): Tracked | undefined {
    this.#sign();
    const tracked = this.#byId.get(id);
    if (tracked !== undefined) this.#inBackground('a hint', this.#happens(tracked, event));
    return tracked;
  }

  #inBackground(what: string, work: Promise<void>): void {
    work.catch((error: unknown) =>
      this.#request.log(`${what} failed; the next reconciliation makes up for it`, { error: String(error) }),
    );
  }

  #in(...states: JobState[]): Tracked[] {
    return this.#all.filter(({ record }) => states.includes(record.state));
  }

  #sign(): void {
    this.lastSign = performance.now();
  }
}

function ended(how: 'completed' | 'failed', reason: string | null): JobEvent {
  return { kind: 'ended', how, reason, claim: null };
}

/** What the queue's answer about a job means. */
function wordOf(state: QueueState | undefined): JobEvent {
  if (state === 'active') return { kind: 'claimed', claim: null, machine: null };
  if (state === 'completed' || state === 'failed') return ended(state, null);
  if (state === undefined || state === 'unknown')
    return { kind: 'ended', how: 'lost', reason: null, claim: null };
  return { kind: 'requeued' };
}
