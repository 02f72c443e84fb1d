/**
 * A planned job as the run keeps it until it is over. Of a night of many clips all lie in memory at once: what the jobs of a roll have in common
 * is there once, and a SHA-256 is 32 bytes of a text, not 64 letters of one. Ticket, and what the result is known by, are put together when
 * they are asked for.
 */
import { type ClassNeed, needOf } from '../../ledger/farm.ts';
import type { Job, Wave } from '../../ledger/job.ts';
import type { CutWork } from '../../ledger/segments.ts';
import type { Part } from '../../ledger/job-parts.ts';
import { partsOf } from '../../ledger/job-parts.ts';
import type { SharedByTickets, Ticket } from '../../ledger/ticket.ts';
import { type Expected, expectedOf } from './complete.ts';

export interface Work {
  /** As it was planned: nobody has given it back yet. */
  readonly ticket: Ticket;
  /** What its result is known by. */
  readonly expected: Expected;
  readonly need: ClassNeed;
  /** Of a clip that is cut; null: it is made whole. */
  readonly cut: CutWork | null;
  /** Where it stands among the jobs of its roll. */
  readonly place: number;
  /** How long it is thought to take. */
  readonly seconds: number;
  readonly wave?: Wave | undefined;
}

/** What many jobs have in common. */
interface Alike {
  readonly ticket: SharedByTickets;
  readonly need: ClassNeed;
  readonly profiles: readonly Pick<Expected['deliverables'][number], 'profile' | 'profileHash'>[];
  readonly hasStills: boolean;
}

/** Makes jobs of one roll into work. */
export class Works {
  readonly #alike = new Map<string, Alike>();

  /** `parts`: what the ticket names, to be written before it is sent. */
  add(job: Job, place: number, seconds: number): { readonly work: Work; readonly parts: readonly Part[] } {
    const { ticket, parts } = partsOf(job);
    const { facts, work, clip, span, soundFolders, segments, segment, witnesses, sole, ...shared } = ticket;
    if (witnesses !== undefined || sole !== undefined) throw new RangeError('a job that was given back');
    const { contentDigest, deliverables, stills } = expectedOf(job);
    const alike = this.#same({
      ticket: shared,
      need: needOf(job),
      profiles: deliverables.map(({ profile, profileHash }) => ({ profile, profileHash })),
      hasStills: stills !== null,
    });
    const digests = packed([
      facts,
      work,
      ...deliverables.map(({ decision }) => decision),
      ...(stills === null ? [] : [stills]),
    ]);
    const cut = segments === undefined ? null : { segments, segment: segment ?? null };
    const own = { clip, span, contentDigest, digests, soundFolders: soundFolders ?? null, cut };
    return { work: new PackedWork(alike, own, place, seconds), parts };
  }

  #same(alike: Alike): Alike {
    const key = JSON.stringify(alike);
    const known = this.#alike.get(key);
    if (known !== undefined) return known;
    this.#alike.set(key, alike);
    return alike;
  }
}

interface Own extends Pick<Ticket, 'clip' | 'span'> {
  readonly contentDigest: string;
  /** Of its facts, of its work, of each deliverable's decision, of its stills if there are any. */
  readonly digests: string;
  readonly soundFolders: readonly string[] | null;
  readonly cut: CutWork | null;
}

class PackedWork implements Work {
  readonly place: number;
  readonly seconds: number;
  readonly cut: CutWork | null;
  readonly #alike: Alike;
  // Each by itself: an object within an object takes its own room.
  readonly #id: string;
  readonly #name: string;
  readonly #start: number;
  readonly #count: number;
  readonly #contentDigest: string;
  readonly #digests: string;
  readonly #soundFolders: readonly string[] | null;

  constructor(alike: Alike, own: Own, place: number, seconds: number) {
    this.place = place;
    this.seconds = seconds;
    this.cut = own.cut;
    this.#alike = alike;
    this.#id = own.clip.id;
    this.#name = own.clip.name === own.clip.id ? own.clip.id : own.clip.name;
    this.#start = own.span.start;
    this.#count = own.span.count;
    this.#contentDigest = own.contentDigest;
    this.#digests = own.digests;
    this.#soundFolders = own.soundFolders;
  }

  get need(): ClassNeed {
    return this.#alike.need;
  }

  get wave(): Wave | undefined {
    return this.#alike.ticket.wave;
  }

  get ticket(): Ticket {
    return {
      ...this.#alike.ticket,
      clip: { id: this.#id, name: this.#name },
      span: { start: this.#start, count: this.#count },
      ...(this.cut === null ? {} : { segments: this.cut.segments }),
      ...(this.cut?.segment == null ? {} : { segment: this.cut.segment }),
      facts: unpacked(this.#digests, 0),
      work: unpacked(this.#digests, 1),
      ...(this.#soundFolders === null ? {} : { soundFolders: [...this.#soundFolders] }),
    };
  }

  get expected(): Expected {
    const { ticket, profiles, hasStills } = this.#alike;
    return {
      run: ticket.run,
      deliveryFolder: ticket.deliveryFolder,
      clip: this.#id,
      contentDigest: this.#contentDigest,
      toolchain: ticket.toolchain,
      deliverables: profiles.map((one, index) => ({ ...one, decision: unpacked(this.#digests, 2 + index) })),
      stills: hasStills ? unpacked(this.#digests, 2 + profiles.length) : null,
    };
  }
}

const DIGEST_BYTES = 32;
const DIGEST = /^[0-9a-f]{64}$/;

/** A letter a byte: of those below 256 an engine stores no more than that. */
function packed(digests: readonly string[]): string {
  const wrong = digests.find((digest) => !DIGEST.test(digest));
  if (wrong !== undefined) throw new RangeError(`no SHA-256: ${wrong}`);
  return Buffer.from(digests.join(''), 'hex').toString('latin1');
}

function unpacked(digests: string, index: number): string {
  const bytes = digests.slice(index * DIGEST_BYTES, (index + 1) * DIGEST_BYTES);
  return Buffer.from(bytes, 'latin1').toString('hex');
}
