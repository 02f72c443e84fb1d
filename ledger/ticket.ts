/**
 * A job as it lies in the queue. What is known of the clip and what is to be made of it it names by content: those parts lie
 * beside the roll's reports (job-parts.ts). So it stays small, whatever tables a camera writes into its clips.
 */
import { z } from 'zod';
import { type Job, waves } from './job.ts';

/** SHA-256 of the bytes of a part, hex. */
export const partIdSchema = z.string().regex(/^[0-9a-f]{64}$/);

export const ticketSchema = z.looseObject({
  /** 0 was a job with all of its parts in it. */
  version: z.literal(1),
  /** The night that asked for it; a worker drops jobs of a night that was superseded. */
  night: z.string(),
  run: z.string(),
  day: z.string(),
  roll: z.string(),
  /** Folder of the roll, opened read-only: absolute, or in a volume. */
  rollFolder: z.string(),
  /** Folder <delivery>/<day>/<roll>, likewise. Its parts lie there. */
  deliveryFolder: z.string(),
  clip: z.object({ id: z.string(), name: z.string() }),
  /** Folders of the sound rolls that the clip's facts take tracks from, likewise, in the order of that part; absent: none. */
  soundFolders: z.array(z.string()).optional(),
  /** Frames [start, start + count) of the clip. */
  span: z.object({ start: z.int().nonnegative(), count: z.int().positive() }),
  /** Which of two jobs of the clip; absent: it is the only one. */
  wave: z.enum(waves).optional(),
  /** Of a long clip: into how many segments it is cut. Without `segment`, the job that joins them; absent: the clip is made whole. */
  segments: z.int().min(2).optional(),
  /** Which of them is made, counted from 0. */
  segment: z.int().nonnegative().optional(),
  /** Part: the clip, and what is known of it. */
  facts: partIdSchema,
  /** Part: its deliverables and stills, each with its outcome; it names the profiles, which are parts too. */
  work: partIdSchema,
  /** Digest of the toolchain that the night was planned with. */
  toolchain: z.string(),
  /** Machines that gave the job back for something that may be the machine's or the clip's: when a second one says the same, it is the clip's. */
  witnesses: z.array(z.object({ machine: z.string(), code: z.string() })).optional(),
  /** Id of the only machine that is fit for it: its own second word is enough. */
  sole: z.string().optional(),
});
export type Ticket = z.infer<typeof ticketSchema>;

/** What all tickets of a roll in one run have in common. */
export type SharedByTickets = Pick<
  Ticket,
  'version' | 'night' | 'run' | 'day' | 'roll' | 'rollFolder' | 'deliveryFolder' | 'toolchain' | 'wave'
>;

/** Redis stores this much with every job, and it travels with every claim. */
export const TICKET_BYTES_LIMIT = 2_048;
/** Of those who gave it back, the last few: with them it stays below the limit. */
export const WITNESSES_KEPT = 4;

const WITNESS_BYTES = 96;
const NO_PART = '0'.repeat(64);

export interface PartIds {
  readonly facts: string;
  readonly work: string;
}

export function ticketOf(job: Job, { facts, work }: PartIds): Ticket {
  const { night, run, day, roll, rollFolder, deliveryFolder, span, toolchain } = job;
  const clip = { id: job.clip.id, name: job.clip.name };
  const { soundRolls, witnesses, sole, wave, segments, segment } = job;
  return {
    version: 1,
    night,
    run,
    day,
    roll,
    rollFolder,
    deliveryFolder,
    clip,
    span,
    ...(segments === undefined ? {} : { segments }),
    ...(segment === undefined ? {} : { segment }),
    facts,
    work,
    toolchain,
    ...(wave === undefined ? {} : { wave }),
    ...(soundRolls === undefined ? {} : { soundFolders: soundRolls.map(({ folder }) => folder) }),
    ...(witnesses === undefined ? {} : { witnesses }),
    ...(sole === undefined ? {} : { sole }),
  };
}

/** The most that the job takes in the queue, whatever becomes of it. */
export function ticketBytes(job: Job): number {
  const ticket = ticketOf(job, { facts: NO_PART, work: NO_PART });
  return Buffer.byteLength(JSON.stringify(ticket)) + (WITNESSES_KEPT + 1) * WITNESS_BYTES;
}

/** What a machine said that gave it back, with what others said before. */
export function withWitness(
  ticket: Ticket,
  witness: { readonly machine: string; readonly code: string },
  alone: boolean,
): Ticket {
  const { sole: _, ...rest } = ticket;
  const others = (ticket.witnesses ?? []).filter(
    ({ machine, code }) => machine !== witness.machine || code !== witness.code,
  );
  return {
    ...rest,
    witnesses: [...others, witness].slice(-WITNESSES_KEPT),
    ...(alone ? { sole: witness.machine } : {}),
  };
}
