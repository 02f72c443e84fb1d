/**
 * What the machines of a farm and a run agree on, over the queue's Redis. Jobs lie in one queue for each class; a class is
 * what a machine needs to do its jobs. The run posts each class; a machine proves itself against what is posted, takes
 * from the queues that it is fit for, and says in its record how it stands with each.
 */
import { createHash } from 'node:crypto';
import { dirname } from 'node:path';
import { z } from 'zod';
import { findingSchema } from '../findings/finding.ts';
import { declarationSchema } from '../media/declaration.ts';
import { OWN_DECODER } from '../media/raw/decoders/names.ts';
import { type Job, type Wave, waves } from './job.ts';
import { BULL_PREFIX, JOB_QUEUE } from './queue.ts';
import { weightSchema } from './shares.ts';
import { volumeSchema } from './volumes.ts';

const decoderNeedSchema = z.object({
  name: z.string(),
  version: z.string(),
  declaration: declarationSchema.optional(),
});
export type DecoderNeed = z.infer<typeof decoderNeedSchema>;

/** What every job of a class needs of the machine that does it. */
export interface ClassNeed {
  /** The folder that the rolls lie in. */
  readonly source: string;
  /** Digest (toolchain.ts). */
  readonly toolchain: string;
  /** Besides those of ffmpeg and our own. */
  readonly decoders: readonly DecoderNeed[];
  /** Two waves lie in two queues, so that a machine finds no master while there are proxies that it can make; absent: there is one. */
  readonly wave?: Wave | undefined;
}

export function needOf({ rollFolder, toolchain, wave, facts: { raw, declared } }: Job): ClassNeed {
  const decoder: DecoderNeed | undefined =
    declared === undefined
      ? raw?.decoder
      : { name: declared.declared.name, version: declared.version, declaration: declared };
  return {
    source: dirname(rollFolder),
    toolchain,
    decoders: decoder === undefined || decoder.name === OWN_DECODER ? [] : [decoder],
    ...(wave === undefined ? {} : { wave }),
  };
}

/** Jobs of one run with equal needs lie in one queue. BullMQ refuses `:` in its name. */
export function classQueue(run: string, need: ClassNeed): string {
  const { source, toolchain, decoders, wave } = need;
  const key = JSON.stringify([source, toolchain, decoders, ...(wave === undefined ? [] : [wave])]);
  return `${JOB_QUEUE}-${run}-${createHash('sha256').update(key).digest('hex').slice(0, 12)}`;
}

/** A hash: by the queue's name, what a run posts of a class. */
export const POSTINGS_KEY = `${BULL_PREFIX}:postings`;

export const postingSchema = z.looseObject({
  version: z.literal(0),
  queue: z.string(),
  run: z.string(),
  /** Folder of the delivery, whose lease names the run. */
  delivery: z.string(),
  source: z.string(),
  /** Folders in it whose clips are in the queue. */
  rolls: z.array(z.string()),
  toolchain: z.string(),
  decoders: z.array(decoderNeedSchema),
  wave: z.enum(waves).optional(),
  /** Of the run, beside other runs (shares.ts); absent: an earlier version posted it. */
  weight: weightSchema.default(1),
  /** That the paths of this posting and of its jobs lie in; none: they are absolute. */
  volumes: z.array(volumeSchema),
});
export type Posting = z.infer<typeof postingSchema>;

/** What cannot be understood was posted by another version: its jobs are nobody's here. */
export function readPostings(texts: Readonly<Record<string, string>>): Posting[] {
  const read = Object.values(texts).flatMap((text) => parsed(postingSchema, text) ?? []);
  // Runs begin with their time.
  return read.sort(
    (a, b) => a.run.localeCompare(b.run) || compareNeeds(a, b) || a.queue.localeCompare(b.queue),
  );
}

/** Of the classes of one run, which a machine takes from first: proxies; and what needs more, which fewer machines can do. */
export function compareNeeds(
  a: Pick<ClassNeed, 'decoders' | 'wave'>,
  b: Pick<ClassNeed, 'decoders' | 'wave'>,
): number {
  const isLast = ({ wave }: Pick<ClassNeed, 'wave'>): number => Number(wave === 'masters');
  return isLast(a) - isLast(b) || b.decoders.length - a.decoders.length;
}

/** A set of the records' names, each the owner's name of who keeps it (owner.ts). */
export const MACHINES_KEY = `${BULL_PREFIX}:machines`;
export const machineKey = (owner: string): string => `${BULL_PREFIX}:machine:${owner}`;
/** Rewritten every few seconds: a machine that is lost vanishes. */
export const MACHINE_SECONDS = 60;

export const standings = ['fit', 'unfit', 'set-aside'] as const;

export const machineSchema = z.looseObject({
  version: z.literal(0),
  /** Its id (files/machine-id.ts), which starters on one machine share. */
  machine: z.string(),
  /** Its name, for people alone. */
  host: z.string(),
  /** Worker processes. */
  workers: z.int().nonnegative(),
  /** Jobs that they run side by side, all together. */
  slots: z.int().nonnegative(),
  /** It went in order, and does nothing any more; absent: it is at work. One that vanishes without this word is lost. */
  left: z.literal(true).optional(),
  classes: z.array(
    z.object({
      queue: z.string(),
      run: z.string(),
      /** As posted; absent: an earlier version wrote it. */
      weight: weightSchema.default(1),
      /** `unfit`: its proof failed. `set-aside`: its proof passed, and a job came back all the same; asked again later. */
      standing: z.enum(standings),
      /** Why it is not fit. */
      findings: z.array(findingSchema),
    }),
  ),
});
export type MachineRecord = z.infer<typeof machineSchema>;

export function readMachines(texts: readonly (string | null)[]): MachineRecord[] {
  return texts.flatMap((text) => (text === null ? [] : (parsed(machineSchema, text) ?? [])));
}

/** Machines (`<id>:<of this claim>`) that began a job and have not ended it in order: one that begins it knows where workers were lost. */
export function takersKey(job: string): string {
  return `${BULL_PREFIX}:takers:${job}`;
}

const givenBackSchema = z.object({
  machine: z.string(),
  host: z.string(),
  finding: findingSchema,
});
/** A machine could not do a job, for a reason of its own. */
export type GivenBack = z.infer<typeof givenBackSchema>;
const GIVEN_BACK = 'given back: ';

/** As the queue carries it. */
export function givenBackText(back: GivenBack): string {
  return `${GIVEN_BACK}${JSON.stringify(back)}`;
}
/** null: a failure of another kind. */
export function readGivenBack(text: string | null): GivenBack | null {
  return text?.startsWith(GIVEN_BACK) === true
    ? parsed(givenBackSchema, text.slice(GIVEN_BACK.length))
    : null;
}

/** Between a starter and its worker process, over the channel that Node opens between parent and child. */
export const toWorkerSchema = z.object({
  kind: z.literal('takes'),
  /** Queues to take from; of one run the first first. */
  queues: z.array(z.object({ queue: z.string(), run: z.string(), weight: weightSchema })),
  /** How many words of the worker's the starter had read. */
  read: z.int().nonnegative(),
});
export type ToWorker = z.infer<typeof toWorkerSchema>;
export const fromWorkerSchema = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('given-back'), queue: z.string(), finding: findingSchema }),
  z.object({ kind: z.literal('done'), queue: z.string() }),
]);
export type FromWorker = z.infer<typeof fromWorkerSchema>;

function parsed<Form>(schema: z.ZodType<Form>, text: string): Form | null {
  try {
    const read = schema.safeParse(JSON.parse(text));
    return read.success ? read.data : null;
  } catch {
    return null;
  }
}
