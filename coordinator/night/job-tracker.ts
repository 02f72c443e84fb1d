/**
 * From jobs to results on disk. Every job is in one state:
 *
 *   pending    known here alone: not sent yet, or come back. It is sent when the run sends and the window has room for it
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
 * In the queue lies a window of jobs, the first in order (dispatch/window.ts, dispatch/order.ts); all others are pending.
 *
 * The run itself is in one of three modes:
 *
 *   going      what is pending is sent, as the window says
 *   paused     nothing is sent, and what nobody works on is taken back, until `resume`
 *   finishing  nothing is sent any more: what is pending, and what can be taken back, is dropped. There is no way back
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { jobKey, type Wave } from '../../ledger/job.ts';
import type { FindingCode } from '../../findings/registry.ts';
import { type ClassNeed, readGivenBack } from '../../ledger/farm.ts';
import { type Ticket, withWitness } from '../../ledger/ticket.ts';
import { jobId, type NightQueue, type QueueState } from '../dispatch/night-queue.ts';
import type { RollRank } from '../dispatch/order.ts';
import type { DeliverableOnDisk } from '../gate/input.ts';
import {
  type Expected,
  hasStills,
  isComplete,
  isSegmentThere,
  placeFailure,
  readResults,
} from './complete.ts';
import { isEnd, type JobEvent, type JobRecord, type JobState, newRecord, step } from './job-states.ts';
import { Lane, type LaneJob } from './lane.ts';
import type { Mend } from './mending.ts';
import type { RunEvents } from './run-events.ts';
import type { Work } from './work.ts';

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
  /** Jobs of this queue that run side by side on the machines that are fit for them; absent: few. */
  readonly slotsFor?: (queue: string) => number;
  log(message: string, fields: Record<string, unknown>): void;
  /** In the order of the job's deliverables. */
  readonly read?: (expected: Expected) => Promise<DeliverableOnDisk[]>;
}

export interface JobTracker {
  /** Resolves when every job is in an end state; gives what was given up, and why. */
  make(roll: RollOfWork, work: readonly Work[]): Promise<Finding[]>;
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

export interface RollOfWork {
  readonly name: string;
  readonly rank: RollRank;
  /** Looks after what its jobs are about; absent: nobody does. */
  readonly mend?: Mend;
}

/** As small as it can be: of a night of many clips all wait here. */
class Tracked implements LaneJob {
  /** In the queue: of this queueing alone. */
  id = '';
  priority = 0;
  record: JobRecord = newRecord;
  /** With what machines said that gave it back; null: none did. */
  witnessed: Ticket | null = null;
  readonly work: Work;
  /** Of all jobs of the run, from 0. */
  readonly number: number;
  readonly batch: Batch;
  readonly lane: Lane<Tracked>;

  constructor(work: Work, number: number, batch: Batch, lane: Lane<Tracked>) {
    this.work = work;
    this.number = number;
    this.batch = batch;
    this.lane = lane;
  }

  /** Of a clip that is cut; null: it is made whole. */
  cut: CutClip | null = null;

  /** What joins segments waits until they lie there. */
  get isWaiting(): boolean {
    return this.cut !== null && this.work.cut?.segment === null && !this.cut.isReady;
  }
  get roll(): RollRank {
    return this.batch.rank;
  }
  get place(): number {
    return this.work.place;
  }
  get seconds(): number {
    return this.work.seconds;
  }
  get wave(): Wave | undefined {
    return this.work.wave;
  }
  /** As it is sent. */
  get ticket(): Ticket {
    return this.witnessed ?? this.work.ticket;
  }
}

/** The jobs of one clip that is cut. */
interface CutClip {
  readonly segments: Tracked[];
  join: Tracked | null;
  /** All segments lie there. */
  isReady: boolean;
}

/** The jobs of one call of `make`. */
interface Batch {
  readonly roll: string;
  readonly rank: RollRank;
  readonly mend: Mend | null;
  open: number;
  readonly given: Finding[];
  readonly resolve: (given: Finding[]) => void;
}

/** What is taken back is looked at again; a machine may be faster with all of it. */
const ROUNDS = 5;

/** Said by a machine that does not find what its job is about. */
const PART_CODES: ReadonlySet<string> = new Set<FindingCode>(['job-part-missing', 'job-part-altered']);

type Mode = 'going' | 'paused' | 'finishing';

export function startJobTracker(request: TrackerRequest): JobTracker {
  const tracker = new Tracker(request);
  tracker.listen();
  return tracker;
}

class Tracker implements JobTracker {
  lastSign = performance.now();
  readonly #request: TrackerRequest;
  readonly #read: (expected: Expected) => Promise<DeliverableOnDisk[]>;
  readonly #lanes = new Map<string, Lane<Tracked>>();
  /** Those that the queue may speak of. */
  readonly #byId = new Map<string, Tracked>();
  /** What their jobs are about was written anew. */
  readonly #mended = new WeakSet<Tracked>();
  #checking = 0;
  #isEntering = false;
  #numbers = 0;
  #mode: Mode;

  constructor(request: TrackerRequest) {
    this.#request = request;
    this.#read = request.read ?? readResults;
    this.#mode = request.signal?.aborted === true ? 'finishing' : 'going';
  }

  get unfinished(): number {
    return [...this.#lanes.values()].reduce((sum, { size }) => sum + size, 0);
  }

  /** In no end state. */
  get #open(): Tracked[] {
    return [...this.#lanes.values()].flatMap((lane) => [...lane.open()]);
  }

  get openQueues(): readonly string[] {
    return [...this.#lanes.values()].filter(({ size }) => size > 0).map(({ queue }) => queue);
  }

  get atWork(): number {
    return [...this.#lanes.values()].reduce((sum, { held }) => sum + held.size, this.#checking);
  }

  listen(): void {
    const { events } = this.#request;
    const claimed = { kind: 'claimed', claim: null, machine: null } as const;
    events.on('queue-active', (id) => this.#hint(id, claimed));
    events.on('queue-progress', (id, progress) => {
      const tracked = this.#hint(id, claimed);
      if (tracked !== undefined) events.emit('job-progress', tracked.ticket, progress);
    });
    events.on('queue-ended', (id, how, reason) => {
      const tracked = this.#byId.get(id);
      if (tracked === undefined || how === 'completed') this.#hint(id, ended(how, reason));
      else {
        this.#sign();
        this.#inBackground('a hint', this.#hearFailure(tracked, id, reason));
      }
    });
    // Whatever hint was missed is made up for.
    for (const back of ['store-back', 'queue-back'] as const)
      events.on(back, () => this.#inBackground('reconciling', this.reconcile()));
    events.on('stop-now', () => this.giveUp());
    events.on('target-trouble', () => this.#inBackground('pausing', this.pause()));
    events.on('target-well', () => this.#inBackground('resuming', this.resume()));
  }

  async make(roll: RollOfWork, work: readonly Work[]): Promise<Finding[]> {
    if (work.length === 0) return [];
    const lying = await lyingOf(work);
    return await new Promise((resolve, reject) => {
      const batch: Batch = {
        ...{ roll: roll.name, rank: roll.rank, mend: roll.mend ?? null },
        ...{ open: work.length, given: [], resolve },
      };
      const cuts = new Map<string, CutClip>();
      const found: Tracked[] = [];
      for (const one of work) {
        const lane = this.#laneOf(one.need);
        const tracked = new Tracked(one, this.#numbers, batch, lane);
        if (one.cut !== null) joinCut(cuts, tracked);
        lane.enter(tracked);
        this.#numbers += 1;
        if (lying.has(one)) found.push(tracked);
      }
      // All of them before any is offered: the first that moves makes room for one that lies there as well.
      this.#isEntering = true;
      for (const tracked of found) this.#move(tracked, { kind: 'lies-there' });
      this.#isEntering = false;
      this.#sign();
      this.#offerAll().catch(reject);
    });
  }

  #laneOf(need: ClassNeed): Lane<Tracked> {
    const queue = this.#request.queue().queueOf(need);
    const known = this.#lanes.get(queue);
    if (known !== undefined) return known;
    const lane = new Lane<Tracked>(queue);
    this.#lanes.set(queue, lane);
    return lane;
  }

  async pause(): Promise<void> {
    if (this.#mode !== 'going') return;
    this.#mode = 'paused';
    await this.#withdrawAll();
  }

  async resume(): Promise<void> {
    if (this.#mode !== 'paused') return;
    this.#mode = 'going';
    this.#sign();
    await this.#offerAll();
  }

  async finish(): Promise<void> {
    this.#mode = 'finishing';
    await this.#offerAll();
    await this.#withdrawAll();
  }

  giveUp(): void {
    this.#mode = 'finishing';
    for (const tracked of this.#open) this.#move(tracked, { kind: 'drop' });
  }

  async reconcile(): Promise<void> {
    const { queue, events } = this.#request;
    if (!(await queue().isOurs())) {
      events.emit('superseded');
      return;
    }
    for (const lane of this.#lanes.values()) {
      const asked = [...lane.lying.keys(), ...lane.held]
        .filter(({ record }) => record.state !== 'sending')
        .map((tracked) => ({ tracked, id: tracked.id }));
      if (asked.length === 0) continue;
      const states = await queue().statesOf(
        lane.queue,
        asked.map(({ id }) => id),
      );
      for (const { tracked, id } of asked)
        if (this.#byId.get(id) === tracked) await this.#hear(tracked, states.get(id));
    }
    // What the queue did not take is sent again.
    await this.#offerAll();
  }

  async #hear(tracked: Tracked, state: QueueState | undefined): Promise<void> {
    if (state !== 'failed') return await this.#happens(tracked, wordOf(state));
    const { id, lane } = tracked;
    const reason = await this.#request.queue().reasonOf(lane.queue, id);
    // A hint may have been faster, and the job queued again.
    if (this.#byId.get(id) === tracked) await this.#hearFailure(tracked, id, reason);
  }

  async #hearFailure(tracked: Tracked, id: string, reason: string | null): Promise<void> {
    const event = await this.#failed(tracked, reason);
    if (this.#byId.get(id) === tracked) await this.#happens(tracked, event);
  }

  /** What a failure in the queue means; of one that a machine gave back it is remembered who said what. */
  async #failed(tracked: Tracked, reason: string | null): Promise<JobEvent> {
    const { batch, ticket, id, lane } = tracked;
    // Now that it is heard.
    this.#inBackground('forgetting a failed job', this.#request.queue().forget(lane.queue, id));
    const back = readGivenBack(reason);
    if (back === null) return ended('failed', reason);
    const { machine, host, finding: found } = back;
    const fit = this.#request.fitFor?.(lane.queue) ?? [];
    const alone = fit.every((other) => other === machine);
    tracked.witnessed = withWitness(ticket, { machine, code: found.code }, alone);
    this.#request.log('a machine gave a job back', {
      id,
      roll: batch.roll,
      clip: ticket.clip.id,
      machine,
      host,
      code: found.code,
      found: found.found,
    });
    const said = `${host}: ${found.code}, ${found.found}`;
    // What lies there for nobody comes back from every machine: that is no machine's fault.
    const broken = PART_CODES.has(found.code) ? await this.#mend(tracked) : null;
    return broken === null
      ? { kind: 'given-back', reason: said, claim: null }
      : ended('failed', `${said}; on the delivery, ${broken}`);
  }

  /** What its job is about is looked at, and once written anew. Says what is missing all the same; null: nothing. */
  async #mend(tracked: Tracked): Promise<string | null> {
    const { mend } = tracked.batch;
    // Below a mount point whose volume is gone it would be written on the wrong disk.
    if (mend === null || !(await this.#request.isTargetHealthy())) return null;
    try {
      const mayWrite = !this.#mended.has(tracked);
      const mending = await mend(tracked.ticket, mayWrite);
      if (mending.state === 'broken') return mending.found;
      if (mending.state === 'whole') return null;
      this.#mended.add(tracked);
      if (mending.note !== null) this.#request.events.emit('note', mending.note);
    } catch (error) {
      this.#request.log('what a job is about was not written anew', { error: String(error) });
    }
    return null;
  }

  assertNothingLeft(): void {
    const open = this.#open;
    if (open.length === 0) return;
    const named = open
      .slice(0, 10)
      .map(({ batch, ticket, record }) => `${batch.roll} ${ticket.clip.id}: ${record.state}`);
    throw new Error(`${open.length} jobs are in no end state: ${named.join('; ')}`);
  }

  /** The one setter: what is known of a job changes here alone. Gives what is to be done about it. */
  #move(tracked: Tracked, event: JobEvent): 'add' | 'look' | 'offer' | null {
    const from = tracked.record.state;
    const { record, effect } = step(tracked.record, event);
    tracked.record = record;
    const to = record.state;
    if (to === from) return effect;
    tracked.lane.moved(tracked, from, to);
    this.#checking += Number(to === 'checking') - Number(from === 'checking');
    if (to === 'pending' || isEnd(to)) this.#byId.delete(tracked.id);
    this.#request.events.emit('job-moved', { job: tracked.ticket, roll: tracked.batch.roll, from, to });
    if (isEnd(to)) this.#close(tracked);
    if (tracked.cut !== null) this.#cutMoved(tracked, tracked.cut, from);
    if (this.#mode === 'going' && !this.#isEntering && tracked.lane.lacksJobs())
      this.#inBackground('filling the window', this.#fill(tracked.lane));
    return effect;
  }

  /** What follows for the other jobs of a clip that is cut. */
  #cutMoved(tracked: Tracked, cut: CutClip, from: JobState): void {
    const { join, segments } = cut;
    if (join === null) return;
    if (tracked === join) {
      // It came back without a result: nobody takes it before its segments were looked for.
      if (from === 'checking' && join.record.state === 'pending') cut.isReady = false;
      if (!isEnd(join.record.state)) return;
      // Joined, they are over as the whole is; else nobody waits for them.
      const event: JobEvent = { kind: join.record.state === 'done' ? 'joined' : 'drop' };
      for (const segment of segments)
        if (segment.record.state === 'unjoined')
          this.#inBackground('ending a segment', this.#happens(segment, event));
      return;
    }
    const isOver = isEnd(join.record.state);
    if (isOver) {
      if (tracked.record.state === 'unjoined' || tracked.record.state === 'pending')
        this.#inBackground('ending a segment', this.#happens(tracked, { kind: 'drop' }));
      return;
    }
    if (isReadyNow(cut)) this.#inBackground('joining', this.#offer(join));
    // A segment that came to another end leaves nothing to join: its reports or findings say why.
    if (segments.some(({ record: { state } }) => isEnd(state)) && join.record.state === 'pending')
      this.#move(join, { kind: 'drop' });
  }

  /** Before it is joined once more: those that are not there any more are made again. */
  async #lookForSegments({ segments }: CutClip): Promise<void> {
    for (const segment of segments) {
      const { cut, expected } = segment.work;
      if (cut === null || segment.record.state !== 'unjoined') continue;
      if (await isSegmentThere(expected, cut, segment.ticket.span)) continue;
      this.#request.log('a segment is not there', { clip: expected.clip, segment: cut.segment });
      await this.#happens(segment, { kind: 'segment-lost' });
    }
  }

  #close(tracked: Tracked): void {
    const { batch, record, ticket } = tracked;
    this.#sign();
    if (record.state === 'given-up')
      batch.given.push(
        finding(
          'job-without-result',
          `${record.queueings} times queued; last: ${record.last}`,
          'a report of every deliverable',
          { roll: batch.roll, clip: ticket.clip.id },
        ),
      );
    batch.open -= 1;
    if (batch.open === 0) batch.resolve(batch.given);
  }

  async #happens(tracked: Tracked, event: JobEvent): Promise<void> {
    const effect = this.#move(tracked, event);
    const { cut } = tracked;
    if (effect === 'look') await this.#happens(tracked, await this.#look(tracked));
    else if (effect === 'offer' && cut?.join === tracked) {
      if (!cut.isReady) await this.#lookForSegments(cut);
      isReadyNow(cut);
      await this.#offer(tracked);
    } else if (effect === 'offer') await this.#offer(tracked);
  }

  /** Of what is pending: sends it, keeps it, or drops it, as the run's mode says. */
  async #offer(tracked: Tracked): Promise<void> {
    if (this.#mode === 'finishing') this.#dropPending(tracked);
    else await this.#fill(tracked.lane);
  }

  async #offerAll(): Promise<void> {
    if (this.#mode === 'finishing') for (const tracked of this.#open) this.#dropPending(tracked);
    for (const lane of this.#lanes.values()) await this.#fill(lane);
  }

  #dropPending(tracked: Tracked): void {
    if (tracked.record.state === 'pending') this.#move(tracked, { kind: 'drop' });
  }

  /** Sends what the window of this queue lacks, and takes back what is not of it any more. */
  async #fill(lane: Lane<Tracked>): Promise<void> {
    await lane.oneAtATime(async () => {
      for (let round = 0; round < ROUNDS && this.#mode === 'going'; round += 1) {
        const { add, takeBack } = lane.next(this.#request.slotsFor?.(lane.queue) ?? 0);
        if (takeBack.length > 0) await this.#withdraw(lane, takeBack);
        else if (add.length === 0 || !(await this.#send(lane, add))) return;
      }
    });
    // Somebody may have called a halt while they were on their way.
    if (this.#mode !== 'going') await this.#withdraw(lane, [...lane.lying.keys()]);
  }

  /** False when the queue does not take them. */
  async #send(
    lane: Lane<Tracked>,
    add: readonly { readonly item: Tracked; readonly priority: number }[],
  ): Promise<boolean> {
    const sent: { readonly tracked: Tracked; readonly id: string; readonly priority: number }[] = [];
    for (const { item: tracked, priority } of add) {
      tracked.priority = priority;
      if (this.#move(tracked, { kind: 'send' }) !== 'add') continue;
      tracked.id = jobId(this.#request.run, tracked.number, tracked.record.queueings);
      this.#byId.set(tracked.id, tracked);
      sent.push({ tracked, id: tracked.id, priority });
    }
    let outcome: JobEvent = { kind: 'sent' };
    try {
      await this.#request.queue().add(
        lane.queue,
        sent.map(({ id, priority, tracked: { ticket } }) => ({ id, ticket, priority })),
      );
    } catch (error) {
      this.#request.log('the queue did not take jobs; the next reconciliation sends them again', {
        queue: lane.queue,
        jobs: sent.length,
        error: String(error),
      });
      outcome = { kind: 'not-sent', reason: String(error) };
    }
    for (const { tracked, id } of sent) if (this.#byId.get(id) === tracked) this.#move(tracked, outcome);
    return outcome.kind === 'sent';
  }

  async #withdrawAll(): Promise<void> {
    for (const lane of this.#lanes.values()) await this.#withdraw(lane, [...lane.lying.keys()]);
  }

  /** Takes back those of them that nobody works on. */
  async #withdraw(lane: Lane<Tracked>, list: readonly Tracked[]): Promise<void> {
    const asked = new Map(
      list.filter(({ record }) => record.state === 'queued').map((tracked) => [tracked.id, tracked]),
    );
    if (asked.size === 0) return;
    for (const id of await this.#request.queue().withdraw(lane.queue, [...asked.keys()])) {
      const tracked = asked.get(id);
      if (tracked === undefined || this.#byId.get(id) !== tracked) continue;
      this.#move(tracked, { kind: 'withdrawn' });
      // In the mode of now: it may have changed meanwhile.
      if (this.#mode === 'finishing') this.#dropPending(tracked);
    }
  }

  /** Never rejects. */
  async #look(tracked: Tracked): Promise<JobEvent> {
    const { log } = this.#request;
    const { expected } = tracked.work;
    try {
      const found = await this.#findOnDisk(tracked);
      if (found === 'nothing') await this.#mend(tracked);
      log('a job ended', {
        id: tracked.id,
        clip: expected.clip,
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

  async #findOnDisk({ work, ticket }: Tracked): Promise<'completion' | 'segment' | 'target' | 'nothing'> {
    const { events, isTargetHealthy } = this.#request;
    const { expected, cut } = work;
    const disk = await this.#read(expected);
    if ((await hasStills(expected)) && isComplete(expected, disk)) return 'completion';
    if (cut !== null && (await isSegmentThere(expected, cut, ticket.span))) return 'segment';
    const [refused] = placeFailure(expected, disk);
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

  #sign(): void {
    this.lastSign = performance.now();
  }
}

/** Segments that an interrupted run finished. */
async function lyingOf(work: readonly Work[]): Promise<ReadonlySet<Work>> {
  const lying = new Set<Work>();
  for (const one of work)
    if (one.cut !== null && (await isSegmentThere(one.expected, one.cut, one.ticket.span))) lying.add(one);
  return lying;
}

/** True: from now on. */
function isReadyNow(cut: CutClip): boolean {
  const was = cut.isReady;
  cut.isReady = cut.segments.every(({ record: { state } }) => state === 'unjoined');
  if (!cut.isReady || was || cut.join === null) return false;
  cut.join.lane.release(cut.join);
  return true;
}

function joinCut(cuts: Map<string, CutClip>, tracked: Tracked): void {
  const { cut, ticket } = tracked.work;
  if (cut === null) return;
  const key = jobKey(ticket);
  const clip = cuts.get(key) ?? { segments: [], join: null, isReady: false };
  cuts.set(key, clip);
  tracked.cut = clip;
  if (cut.segment === null) clip.join = tracked;
  else clip.segments.push(tracked);
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
