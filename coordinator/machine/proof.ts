/**
 * Whether this machine can do what is posted: by trying, with what the doctor measures. Of the machine itself once; of each
 * class of jobs whether its programs are those of the run, its decoders are here, its rolls are read here, and the delivery is
 * the one that the run has, where a file can be written, linked, renamed and read back.
 */
import { randomBytes } from 'node:crypto';
import { access, constants, readdir } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import type { Posting } from '../../ledger/farm.ts';
import { STAGING_PREFIX } from '../../ledger/layout.ts';
import { deliveryPlace } from '../../ledger/lease.ts';
import { runAtWork } from '../../ledger/lease-file.ts';
import { newToken } from '../../ledger/owner.ts';
import { targetFinding, targetTroubleOf, tryKeeping, tryWriting } from '../../ledger/target-health.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import { fromVolume, isVolumePath, leavesVolume, type Mount, readMarker } from '../../ledger/volumes.ts';
import { rawDecoderHere } from '../../media/raw/decoders/here.ts';
import { locateTool, type MediaTools } from '../../process/locate.ts';
import type { Sought } from '../doctor/facts.ts';
import { font, kernelFacts, sought, volume } from '../doctor/measure.ts';

export interface ToolPlaces {
  readonly ffmpeg?: string | undefined;
  readonly ffprobe?: string | undefined;
  /** How long one may stay silent when asked for its version. */
  readonly patienceMilliseconds?: number;
}

/** What is the same for every class of jobs. */
export interface MachineProof {
  readonly tools: Sought<MediaTools>;
  /** Empty: it can work. */
  readonly findings: readonly Finding[];
}

const TOOL_PATIENCE_MILLISECONDS = 20_000;
/** A job's masks, tables and texts, with room to spare. */
const SCRATCH_BYTES = 64 * 1024 ** 2;
const TRIAL_BYTES = 1024 ** 2;
/** A share whose server is away may let a question wait for ever. */
const ANSWER_MILLISECONDS = 30_000;

export async function proveMachine(places: ToolPlaces): Promise<MachineProof> {
  const patience = places.patienceMilliseconds ?? TOOL_PATIENCE_MILLISECONDS;
  const [ffmpeg, ffprobe, kernels, scratch] = await Promise.all([
    sought(locateTool('ffmpeg', places.ffmpeg, patience)),
    sought(locateTool('ffprobe', places.ffprobe, patience)),
    kernelFacts(),
    scratchFindings(),
  ]);
  const lacking = [ffmpeg, ffprobe].flatMap((tool) => ('findings' in tool ? tool.findings : []));
  const tools: Sought<MediaTools> =
    'found' in ffmpeg && 'found' in ffprobe
      ? { found: { ffmpeg: ffmpeg.found, ffprobe: ffprobe.found } }
      : { findings: lacking };
  return {
    tools,
    findings: [
      ...lacking,
      ...kernels.flatMap(({ name, error }) =>
        error === null ? [] : [finding('kernel-missing', `${name}: ${error}`, 'a kernel that loads')],
      ),
      ...(font() === null ? [finding('font-missing', 'not there', 'the font of burnt-in text')] : []),
      ...scratch,
    ],
  };
}

async function scratchFindings(): Promise<Finding[]> {
  const folder = tmpdir();
  const lacking = (found: string): Finding[] => [
    finding('scratch-full', found, `${SCRATCH_BYTES / 1024 ** 2} MiB for temporary files`, { file: folder }),
  ];
  const { freeBytes } = await volume('scratch', folder);
  if (freeBytes !== null && freeBytes < SCRATCH_BYTES)
    return lacking(`${Math.floor(freeBytes / 1024 ** 2)} MiB free`);
  try {
    // Quotas do not show in what is free.
    await tryWriting(join(folder, `rushlight-proof-${randomBytes(6).toString('hex')}`), TRIAL_BYTES);
    return [];
  } catch (error) {
    return lacking((error as Error).message);
  }
}

/** Why this machine is not given jobs of that class; empty: it is. */
export async function proveClass(
  posting: Posting,
  { tools, findings }: MachineProof,
  mounts: readonly Mount[] | null = null,
): Promise<Finding[]> {
  const local = localPosting(posting, mounts);
  return [
    ...findings,
    ...('found' in tools ? toolchainFindings(posting, tools.found) : []),
    ...(await decoderFindings(posting)),
    ...('finding' in local ? [local.finding] : await placeFindings(posting, local.posting, mounts ?? [])),
  ];
}

/** `posting`: with the paths of this machine. */
async function placeFindings(
  posted: Posting,
  posting: Posting,
  mounts: readonly Mount[],
): Promise<Finding[]> {
  const ofVolumes = isVolumePath(posted.delivery)
    ? await inTime(volumeFindings(posted, mounts), (found) =>
        finding('volume-marker-missing', found, 'a volume that answers', { file: posting.delivery }),
      )
    : [];
  // What is in the place of a volume says nothing of it.
  if (ofVolumes.length > 0) return ofVolumes;
  return [
    ...(await inTime(sourceFindings(posting), (found) =>
      finding('source-missing', found, 'a folder that answers', { file: posting.source }),
    )),
    ...(await inTime(deliveryFindings(posting), (found) =>
      targetFinding('gone', posting.delivery, { found }),
    )),
  ];
}

/** With the paths of this machine; or why it has none. */
function localPosting(
  posting: Posting,
  mounts: readonly Mount[] | null,
): { readonly posting: Posting } | { readonly finding: Finding } {
  if (mounts === null && !isVolumePath(posting.delivery)) return { posting };
  const rolls: string[] = [];
  for (const path of [posting.delivery, posting.source, ...posting.rolls]) {
    const here = fromVolume(mounts ?? [], path);
    if (typeof here !== 'string') return { finding: here };
    rolls.push(here);
  }
  const [delivery, source] = rolls.splice(0, 2) as [string, string];
  return { posting: { ...posting, delivery, source, rolls } };
}

/** The volumes are those of the run, and nothing in them leads out. */
async function volumeFindings(
  { volumes, delivery, rolls }: Posting,
  mounts: readonly Mount[],
): Promise<Finding[]> {
  for (const { name, id } of volumes) {
    const mount = mounts.find((one) => one.name === name);
    if (mount === undefined) continue;
    const marker = await readMarker(mount, id);
    if ('finding' in marker) return [marker.finding];
  }
  for (const path of [delivery, ...rolls]) {
    const leads = await leavesVolume(mounts, path);
    if (leads !== null) return [leads];
  }
  return [];
}

function toolchainFindings({ toolchain }: Posting, tools: MediaTools): Finding[] {
  const { digest } = toolchainOf(tools);
  if (digest === toolchain) return [];
  const here = `ffmpeg ${tools.ffmpeg.version}, ffprobe ${tools.ffprobe.version}, toolchain ${digest.slice(0, 12)}`;
  return [finding('toolchain-differs', here, `toolchain ${toolchain.slice(0, 12)}`)];
}

async function decoderFindings({ decoders }: Posting): Promise<Finding[]> {
  const asked = await Promise.all(
    decoders.map(({ declaration, ...decoder }) =>
      rawDecoderHere({ ...decoder, ...(declaration === undefined ? {} : { declaration }) }),
    ),
  );
  return asked.flatMap((here) => ('findings' in here ? here.findings : []));
}

async function sourceFindings({ rolls }: Posting): Promise<Finding[]> {
  for (const folder of rolls) {
    try {
      await access(fsPath(folder), constants.R_OK);
      await readdir(fsPath(folder));
    } catch (error) {
      return [finding('source-missing', codeOf(error), 'a folder that can be read', { file: folder })];
    }
  }
  return [];
}

async function deliveryFindings({ delivery, run }: Posting): Promise<Finding[]> {
  const lease = await runAtWork(deliveryPlace(delivery));
  if (lease?.run !== run)
    return [
      finding(
        'target-is-another',
        lease === null ? 'no run has this folder' : `run ${lease.run} has this folder`,
        `the folder that run ${run} has`,
        { file: delivery },
      ),
    ];
  try {
    await tryKeeping(join(delivery, `${STAGING_PREFIX}${newToken()}.trial`), randomBytes(4096));
    return [];
  } catch (error) {
    const trouble = targetTroubleOf(error);
    if (trouble === null) throw error;
    return [targetFinding(trouble, delivery, { found: (error as Error).message })];
  }
}

async function inTime(asking: Promise<Finding[]>, late: (found: string) => Finding): Promise<Finding[]> {
  // Once it is late nobody waits for how it ends.
  asking.catch(() => undefined);
  let timer: NodeJS.Timeout | undefined;
  const waited = new Promise<Finding[]>((resolve) => {
    timer = setTimeout(
      () => resolve([late(`no answer for ${ANSWER_MILLISECONDS / 1000} s`)]),
      ANSWER_MILLISECONDS,
    );
  });
  try {
    return await Promise.race([asking, waited]);
  } finally {
    clearTimeout(timer);
  }
}
