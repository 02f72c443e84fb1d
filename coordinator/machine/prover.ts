/**
 * Proves this machine before it takes a job, and again every minute: reads what runs post, tries it, says in the machine's
 * record how it stands with each class, and tells the workers which queues to take from.
 */
import { hostname } from 'node:os';
import { Redis } from 'ioredis';
import { machineId } from '../../files/machine-id.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import {
  MACHINE_SECONDS,
  machineKey,
  MACHINES_KEY,
  type MachineRecord,
  type Posting,
  POSTINGS_KEY,
  readPostings,
  type ToWorker,
} from '../../ledger/farm.ts';
import { ownerName, thisOwner } from '../../ledger/owner.ts';
import { type QueueAddress, redisOptions } from '../../ledger/queue.ts';
import type { Mount } from '../../ledger/volumes.ts';
import { whyRefusedNow } from '../store/shared.ts';
import type { MediaTools } from '../../process/locate.ts';
import { type MachineProof, proveClass, proveMachine, type ToolPlaces } from './proof.ts';
import { type Aside, asideAfter, type ClassStanding, standingOf } from './standing.ts';

export interface ProverRequest {
  readonly address: QueueAddress;
  readonly tools: ToolPlaces;
  readonly mounts: readonly Mount[] | null;
  /** How many worker processes this starter has now. */
  workers(): number;
  /** Jobs that they run side by side. */
  slots(): number;
  /** The queues that this machine is fit for now. */
  onTakes(queues: ToWorker['queues']): void;
  /** Programs that answer: workers may be started. Called once. */
  onTools(tools: MediaTools): void;
  /** The queue is not taken any more, for this reason. */
  onRefused(found: Finding): void;
  /** It stands otherwise with a class than before. */
  onStanding(standing: ClassStanding): void;
  log(message: string, fields: Record<string, unknown>): void;
}

export interface Prover {
  /** A worker gave a job of this queue back. */
  givenBack(queue: string, found: Finding): void;
  /** A job of this queue was done here. */
  done(queue: string): void;
  /** Takes the record away. */
  close(): Promise<void>;
}

const LOOK_MILLISECONDS = 1_000;
/** Whether a queue that was refused is set right. */
const ASK_MILLISECONDS = 10_000;
export const PROOF_MILLISECONDS = 60_000;
/** Three records before it counts as gone. */
const RECORD_MILLISECONDS = (MACHINE_SECONDS * 1000) / 3;

export function startProver(request: ProverRequest): Prover {
  const { log, onTakes } = request;
  const client = new Redis(redisOptions(request.address));
  client.on('error', (error) => log('connection to the queue', { error: error.message }));
  let wasThere = false;
  client.on('ready', () => {
    // Perhaps to a store that was set up anew.
    if (wasThere) askQueue();
    wasThere = true;
  });
  const owner = ownerName(thisOwner());
  const asides = new Map<string, Aside>();
  /** What was proved, when, and against which posting. */
  const proofs = new Map<string, { readonly findings: readonly Finding[]; readonly of: string }>();
  const said = new Map<string, string>();
  let postings: readonly Posting[] = [];
  let machine: MachineProof | null = null;
  let provedAt = Number.NEGATIVE_INFINITY;
  let recorded = '';
  let recordedAt = Number.NEGATIVE_INFINITY;
  let ended = false;
  let hasTools = false;
  let refused: Finding | null = null;
  let askedAt = Number.NEGATIVE_INFINITY;

  const standings = (): ClassStanding[] => {
    const now = performance.now();
    return postings.flatMap((posting) => {
      const { queue } = posting;
      return standingOf(posting, proofs.get(queue)?.findings, asides.get(queue), now) ?? [];
    });
  };
  const tell = (): void => {
    const stand = standings();
    for (const one of stand) {
      const text = JSON.stringify(one);
      if (said.get(one.queue) === text) continue;
      // Fit from the beginning is no news.
      const isNews = said.has(one.queue) || one.standing !== 'fit';
      said.set(one.queue, text);
      if (isNews) request.onStanding(one);
    }
    const fit = stand
      .filter(({ standing }) => standing === 'fit')
      .map(({ queue, run, weight }) => ({ queue, run, weight }));
    onTakes(refused === null ? fit : []);
  };
  /** While it is not taken any more this machine takes nothing, and asks again. */
  const askQueue = (): void => {
    askedAt = performance.now();
    whyRefusedNow(request.address).then(
      (found) => {
        if (found !== null && refused?.code !== found.code) request.onRefused(found);
        refused = found;
        tell();
      },
      (error: unknown) => log('asking the queue again', { error: String(error) }),
    );
  };
  const record = async (): Promise<void> => {
    const now: MachineRecord = {
      version: 0,
      machine: machineId().id,
      host: hostname(),
      workers: request.workers(),
      slots: request.slots(),
      classes: standings(),
    };
    const text = JSON.stringify(now);
    if (text === recorded && performance.now() - recordedAt < RECORD_MILLISECONDS) return;
    await client.multi().sadd(MACHINES_KEY, owner).set(machineKey(owner), text, 'EX', MACHINE_SECONDS).exec();
    recorded = text;
    recordedAt = performance.now();
  };

  // The name stays in the set until this is gone: runs that look at it know that nobody is to be looked for.
  const farewell = (): MachineRecord => ({
    ...{ version: 0, machine: machineId().id, host: hostname() },
    ...{ workers: 0, slots: 0, classes: [], left: true },
  });

  const prove = async (): Promise<void> => {
    const isDue = performance.now() - provedAt >= PROOF_MILLISECONDS;
    if (isDue || machine === null) {
      machine = await proveMachine(request.tools);
      provedAt = performance.now();
      if ('found' in machine.tools && !hasTools) {
        hasTools = true;
        request.onTools(machine.tools.found);
      }
    }
    for (const posting of postings) {
      const of = JSON.stringify(posting);
      if (!isDue && proofs.get(posting.queue)?.of === of) continue;
      const findings = await proveClass(posting, machine, request.mounts).catch((error: unknown) => [
        finding('machine-not-proved', String(error), 'a proof that comes to its end'),
      ]);
      proofs.set(posting.queue, { findings, of });
    }
  };
  const look = async (): Promise<void> => {
    postings = readPostings(await client.hgetall(POSTINGS_KEY));
    const queues = new Set(postings.map(({ queue }) => queue));
    for (const known of [proofs, asides, said])
      for (const queue of known.keys()) if (!queues.has(queue)) known.delete(queue);
    // While nothing is posted a machine is asked too: who looks at it learns that its programs do not answer.
    await prove();
    if (ended) return;
    if (refused !== null && performance.now() - askedAt >= ASK_MILLISECONDS) askQueue();
    tell();
    await record();
  };

  const loop = async (): Promise<void> => {
    while (!ended) {
      await look().catch((error: unknown) => log('a proof was not made', { error: String(error) }));
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, LOOK_MILLISECONDS);
        timer.unref();
        wake = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
  };
  let wake: () => void = () => undefined;
  const looping = loop();

  return {
    givenBack(queue, found) {
      asides.set(queue, asideAfter(asides.get(queue), found, performance.now()));
      // What was proved a moment ago does not hold.
      provedAt = Number.NEGATIVE_INFINITY;
      tell();
      wake();
    },
    done(queue) {
      // What went well once shows that the machine can; one that is set aside stays so until its time is over.
      const aside = asides.get(queue);
      if (aside !== undefined && performance.now() >= aside.until) asides.delete(queue);
    },
    async close() {
      ended = true;
      wake();
      const away = client.set(machineKey(owner), JSON.stringify(farewell()), 'EX', MACHINE_SECONDS);
      await Promise.race([
        Promise.allSettled([away, looping]),
        new Promise((resolve) => setTimeout(resolve, 2_000).unref()),
      ]);
      client.disconnect();
    },
  };
}
