/**
 * The parts of a job that its ticket names, each once, as <roll>/reports/.rushlight-jobs/<SHA-256 of its bytes>.json. The run
 * writes them before it queues the job, and takes them away when the roll is over. A worker reads them and believes none
 * whose bytes are not those that its name says. They bind nobody: what was made stands in the reports.
 */
import { createHash } from 'node:crypto';
import { open, readdir, readFile, rename, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { z } from 'zod';
import { codeOf } from '../files/error-code.ts';
import { belongToFolder } from '../files/belonging.ts';
import { makeFolders } from '../files/folders.ts';
import { fsPath } from '../files/names.ts';
import { type Finding, finding } from '../findings/finding.ts';
import { jobSchema, type Job } from './job.ts';
import { layout, STAGING_PREFIX } from './layout.ts';
import { newToken } from './owner.ts';
import { segmentsLying } from './segments.ts';
import { partIdSchema, type Ticket, ticketOf } from './ticket.ts';

export interface Part {
  readonly id: string;
  readonly bytes: Buffer;
}

function partOf(value: unknown): Part {
  const bytes = Buffer.from(JSON.stringify(value));
  return { id: createHash('sha256').update(bytes).digest('hex'), bytes };
}

/** The ticket of a job, and the parts that it names. Pure. */
export function partsOf(job: Job): { readonly ticket: Ticket; readonly parts: readonly Part[] } {
  const { clip, facts, source, deliverables, stills } = job;
  const soundRolls = job.soundRolls?.map(({ folder: _, ...rest }) => rest);
  const known = partOf({ clip, facts, source, soundRolls });
  const profiles = deliverables.map(({ profile }) => partOf(profile));
  const work = partOf({
    deliverables: deliverables.map((one, index) => ({ ...one, profile: profiles[index]?.id })),
    stills,
  });
  return {
    ticket: ticketOf(job, { facts: known.id, work: work.id }),
    parts: [known, work, ...profiles],
  };
}

const partPath = (rollFolder: string, id: string): string =>
  join(layout.jobPartsFolder(rollFolder), `${id}.json`);

/** Writes parts that a run has not written yet; what lies there is not believed. Throws what node:fs throws. */
export class PartKeeper {
  readonly #rollFolder: string;
  readonly #kept = new Set<string>();

  /** <delivery>/<day>/<roll>. */
  constructor(rollFolder: string) {
    this.#rollFolder = rollFolder;
  }

  async keep(parts: readonly Part[]): Promise<void> {
    for (const { id, bytes } of parts) {
      if (this.#kept.has(id)) continue;
      await writePart(this.#rollFolder, id, bytes);
      this.#kept.add(id);
    }
  }
}

/** Those of the parts that are broken there, written anew. Throws what node:fs throws. */
export async function mendParts(
  rollFolder: string,
  parts: readonly Part[],
  broken: readonly string[],
): Promise<void> {
  for (const { id, bytes } of parts) if (broken.includes(id)) await writePart(rollFolder, id, bytes);
}

/** Whole or not at all. Not synced: after a power cut the next run writes them again. */
async function writePart(rollFolder: string, id: string, bytes: Buffer): Promise<void> {
  const folder = layout.jobPartsFolder(rollFolder);
  const staged = join(folder, `${STAGING_PREFIX}${newToken()}`);
  const write = async (): Promise<void> => {
    const handle = await open(fsPath(staged), 'wx');
    try {
      await handle.writeFile(bytes);
      await belongToFolder(handle, folder);
    } finally {
      await handle.close();
    }
    await rename(fsPath(staged), fsPath(partPath(rollFolder, id)));
  };
  try {
    await write();
  } catch (error) {
    await rm(fsPath(staged), { force: true });
    if (codeOf(error) !== 'ENOENT') throw error;
    await makeFolders(folder);
    await write();
  }
}

/** Those that do not lie there with the bytes that their ids say, as this machine sees it. */
export async function brokenParts(rollFolder: string, ids: readonly string[]): Promise<string[]> {
  const broken: string[] = [];
  for (const id of new Set(ids)) {
    const bytes = await readFile(fsPath(partPath(rollFolder, id))).catch(() => null);
    if (bytes === null || createHash('sha256').update(bytes).digest('hex') !== id) broken.push(id);
  }
  return broken;
}

/** A live page may ask for a picture there meanwhile: what came into the folder is removed at the next try. */
const REMOVED = { recursive: true, force: true, maxRetries: 3 } as const;

/** Nobody works on the roll any more, or begins again from its disk. `segments`: of a roll that is not over they wait for the next run. */
export async function removeParts(rollFolder: string, segments: 'keep' | 'remove'): Promise<void> {
  const folder = layout.jobPartsFolder(rollFolder);
  const lies = segments === 'keep' && (await segmentsLying(rollFolder)).length > 0;
  if (!lies) return await rm(fsPath(folder), REMOVED);
  const kept = basename(layout.segmentsFolder(rollFolder));
  for (const name of await readdir(fsPath(folder)))
    if (name !== kept) await rm(fsPath(join(folder, name)), REMOVED);
}

const factsPartSchema = z.object({
  clip: z.unknown(),
  facts: z.unknown(),
  source: z.unknown().optional(),
  /** Without their folders, which the ticket has as this machine finds them. */
  soundRolls: z.array(z.looseObject({})).optional(),
});
const workPartSchema = z.object({
  deliverables: z.array(z.looseObject({ profile: partIdSchema })),
  stills: z.unknown().optional(),
});

/** Milliseconds to wait for a part that is not there: a share may show a new file late. */
const WAITS = [100, 400, 1_000];

/** `ticket` with the paths of this machine. */
export async function readJob(
  ticket: Ticket,
  waits: readonly number[] = WAITS,
): Promise<{ readonly job: Job } | { readonly finding: Finding }> {
  const { deliveryFolder, roll, clip } = ticket;
  const subject = { roll, clip: clip.id };
  const trouble = (found: Finding): { readonly finding: Finding } => ({ finding: { ...found, ...subject } });
  const known = await readPart(deliveryFolder, ticket.facts, factsPartSchema, waits);
  if ('finding' in known) return trouble(known.finding);
  const work = await readPart(deliveryFolder, ticket.work, workPartSchema, waits);
  if ('finding' in work) return trouble(work.finding);
  const deliverables: unknown[] = [];
  for (const one of work.part.deliverables) {
    const profile = await readPart(deliveryFolder, one.profile, z.unknown(), waits);
    if ('finding' in profile) return trouble(profile.finding);
    deliverables.push({ ...one, profile: profile.part });
  }
  const { facts: _, work: __, soundFolders = [], ...rest } = ticket;
  const read = known.part.soundRolls ?? [];
  if (read.length !== soundFolders.length)
    return trouble(
      finding(
        'job-damaged',
        `${soundFolders.length} folders of sound rolls`,
        `${read.length}, as its part has`,
      ),
    );
  const soundRolls = known.part.soundRolls?.map((one, index) => ({ ...one, folder: soundFolders[index] }));
  const stills = work.part.stills === undefined ? {} : { stills: work.part.stills };
  const parsed = jobSchema.safeParse({
    ...rest,
    ...known.part,
    soundRolls,
    version: 0,
    deliverables,
    ...stills,
  });
  if (parsed.success) return { job: parsed.data };
  const [issue] = parsed.error.issues;
  return trouble(
    finding('job-damaged', `${issue?.path.join('.')}: ${issue?.message}`, 'a job of this version'),
  );
}

async function readPart<Form>(
  rollFolder: string,
  id: string,
  schema: z.ZodType<Form>,
  waits: readonly number[],
): Promise<{ readonly part: Form } | { readonly finding: Finding }> {
  const path = partPath(rollFolder, id);
  const bytes = await readWaiting(path, waits);
  if (!Buffer.isBuffer(bytes))
    return { finding: finding('job-part-missing', bytes, 'a file that can be read', { file: path }) };
  const digest = createHash('sha256').update(bytes).digest('hex');
  if (digest !== id)
    return { finding: finding('job-part-altered', `SHA-256 ${digest}`, `SHA-256 ${id}`, { file: path }) };
  const parsed = schema.safeParse(JSON.parse(bytes.toString('utf8')));
  return parsed.success
    ? { part: parsed.data }
    : { finding: finding('job-damaged', parsed.error.message, 'a job of this version', { file: path }) };
}

/** A text says why it cannot be read. */
async function readWaiting(path: string, waits: readonly number[]): Promise<Buffer | string> {
  for (let round = 0; ; round += 1) {
    try {
      return await readFile(fsPath(path));
    } catch (error) {
      const code = codeOf(error);
      const wait = waits[round];
      if (code === '' || wait === undefined) return code || String(error);
      await new Promise((resolve) => setTimeout(resolve, wait));
    }
  }
}
