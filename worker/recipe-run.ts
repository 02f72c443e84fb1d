/** A recipe that is about to run: what must be written before, who reads its pipes, and what they saw. */
import { writeFile } from 'node:fs/promises';
import type { ColourWaySeen } from '../check/colour-way.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import { earlierField } from '../media/facts.ts';
import type { OpenedInput } from '../media/input.ts';
import { isAtLeast, type MediaTools } from '../process/locate.ts';
import type { PipeReader } from '../process/run.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { type Recipe, recipeOf, type SegmentTaken } from '../profiles/recipe/index.ts';
import { wayShown } from '../profiles/recipe/views.ts';
import { maskBytes } from '../profiles/recipe/sketch.ts';
import type { Bitstream } from '../proof/bitstream.ts';
import type { EncoderInputVerdict } from '../proof/encoder-input/compare.ts';
import type { FrameFingerprints } from '../proof/form.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { maskSeed } from '../proof/sketch/mask.ts';
import type { TextVerdict } from '../proof/text/compare.ts';
import { textComparers } from './burn-in.ts';
import { type Collecting, collect } from './collect.ts';
import { type BakedWay, bakedWay, thinComparer } from './colour-way.ts';
import { type LightMeasured, lightReaders } from './content-light.ts';
import { encoderInputComparers } from './encoder-input.ts';
import { graphArguments } from './graph-argument.ts';
import { sketchesOf } from './sketches.ts';
import type { Watched } from './watch.ts';

/** A movie that is not a master, and where it is written: a file, absolute. */
export interface StagedMovie {
  readonly deliverable: MovieWork;
  readonly staged: string;
}

export interface RecipeRun {
  readonly job: Job;
  /** Which of the job's movies, and where each is written. */
  readonly outputs: readonly StagedMovie[];
  /** Of movies that are made elsewhere: their audio is proved by this decode. */
  readonly besides: readonly Outcome[];
  /** The whole clip; null: developed pictures are fed in. */
  readonly input: OpenedInput | null;
  /** Reads every decoded frame as it is; absent: nobody does. */
  readonly frames?: PipeReader | undefined;
  /** Of a long clip, which of its frames are made; absent: all. */
  readonly segment?: SegmentTaken | undefined;
  /** A private folder. */
  readonly folder: string;
  readonly tools: MediaTools;
  readonly threads: number;
  readonly signal: AbortSignal;
}

/** What was seen, by output. */
export interface RecipeSeen {
  /** What left its encoders. */
  readonly bitstreams: readonly Bitstream[];
  /** The sketch of what its encoder was given, as far as it came; null: none is taken. */
  readonly sketches: readonly (ErrorSketch | null)[];
  /** What its encoder was given, against the source; null: it keeps every sample, or its pixels are not computed again. */
  readonly encoderInputs: readonly (EncoderInputVerdict | null)[];
  /** The light of what its encoder was given; null: its stream says nothing of it. */
  readonly light: readonly (LightMeasured | null)[];
  /** By bar around the picture that its encoder was given, the hash of each frame of it. */
  readonly bars: readonly (readonly Buffer[])[];
  /** Of the frames that masters are made of, where those are made of fields; null: they are the decoded ones, or ended within a sample. */
  readonly madeOfFields: FrameFingerprints | null;
  /** Of the frames that fields were split into; null: there are none, or they ended within a sample. */
  readonly splitFields: FrameFingerprints | null;
  /** Burnt-in text in what its encoder was given; null: it has none. */
  readonly texts: readonly (TextVerdict | null)[];
  /** Fingerprints of the pictures that its colour way gives; null: they stay as recorded, or did not come. */
  readonly shown: readonly (FrameFingerprints | null)[];
  /** What was seen of its colour way; null: it has none. */
  readonly colourWays: readonly (ColourWaySeen | null)[];
}

export interface ReadyRecipe {
  readonly recipe: Recipe;
  /** Its filter graph, as ffmpeg is given it. */
  readonly graph: readonly string[];
  readonly collecting: Collecting;
  /** When the program has ended. */
  seen(watched: Watched): RecipeSeen;
}

/** Writes what the recipe reads. Throws what that throws, and what reading a colour transform throws. */
export async function readyRecipe(request: RecipeRun): Promise<ReadyRecipe> {
  const { job, outputs, besides, input, frames, segment, folder, tools, threads } = request;
  const { facts } = job;
  const recipe = recipeOf({
    facts,
    deliverables: outputs.map(({ deliverable, staged }) => ({
      profile: deliverable.profile,
      outcome: deliverable.outcome,
      path: staged,
    })),
    textFolder: folder,
    alignsText: isAtLeast(tools.ffmpeg.release, { major: 6, minor: 1 }),
    besides,
    frames: frames !== undefined,
    // Of a folder of frames no others are opened.
    stretch: job.clip.place.kind === 'sequence' ? undefined : job.clip.stretch,
    segment,
    threads,
  });
  for (const file of recipe.textFiles) await writeFile(file.path, file.text);
  const graph = await graphArguments(recipe.filterGraph, { folder, tools });
  const seeds = outputs.map(({ deliverable }) => maskSeed(job.clip.contentDigest, deliverable.profileHash));
  for (const [index, mask] of recipe.masks.entries())
    if (mask !== null) await writeFile(mask.path, maskBytes(seeds[index] as string, mask));
  const ways = recipe.views.map(({ shown }) => shown);
  const baked: BakedWay[] = [];
  for (const { shown, table } of recipe.views) {
    const way = await bakedWay(job.deliveryFolder, shown);
    await writeFile(table.spread, way.files.spread);
    await writeFile(table.space, way.files.space);
    baked.push(way);
  }
  const thin = recipe.views.map(({ shown }, view) => thinComparer(job, shown, baked[view] as BakedWay));
  const comparers = await encoderInputComparers({ ...request, ways, thin }, input);
  const texts = textComparers(outputs.map(({ deliverable }) => deliverable));
  const light = lightReaders(outputs.map(({ deliverable }) => deliverable.outcome));
  const collecting = collect({
    facts,
    outcomes: [...outputs.map(({ deliverable }) => deliverable.outcome), ...besides],
    pipes: recipe.pipes,
    comparers,
    texts,
    light,
    thin,
    earlierField: earlierField(facts.video),
    byPacket: segment !== undefined,
    frames,
  });
  return {
    recipe,
    graph,
    collecting,
    seen: (watched) => {
      const verdicts = comparers.map((comparer) => comparer?.verdict() ?? null);
      const viewed = asFarAsItCame(() => collecting.views()) ?? [];
      const waysSeen = baked.map(({ files: { sha256 }, error }, view): ColourWaySeen => {
        const { from } = ways[view] as (typeof ways)[number];
        const recorded = verdicts[outputs.length + view] ?? null;
        return {
          from,
          recorded,
          thin: (thin[view] as (typeof thin)[number]).verdict(),
          table: sha256,
          error,
        };
      });
      const views = outputs.map(({ deliverable }) => wayShown(ways, deliverable.outcome));
      return {
        bitstreams: collecting.bitstreams,
        sketches: sketchesOf({
          collectors: collecting.sketches,
          masks: recipe.masks,
          seeds,
          stated: statedOf(outputs, watched),
        }),
        encoderInputs: verdicts.slice(0, outputs.length),
        light: light.map((one) =>
          one === null ? null : { seen: one.meter.seen(), again: one.again.read() },
        ),
        bars: collecting.bars,
        madeOfFields: recipe.pipes.some(({ kind }) => kind === 'made')
          ? asFarAsItCame(() => collecting.made())
          : null,
        splitFields: recipe.pipes.some(({ kind }) => kind === 'split')
          ? asFarAsItCame(() => collecting.split())
          : null,
        texts: texts.map((comparer) => comparer?.verdict() ?? null),
        shown: views.map((view) => (view === null ? null : (viewed[view] ?? null))),
        colourWays: views.map((view) => (view === null ? null : (waysSeen[view] ?? null))),
      };
    },
  };
}

/** By output: what its encoder stated of its error. x264 and x265 state it as they are closed, one after the other; of a number that does not fit nothing is taken. */
function statedOf(
  outputs: RecipeRun['outputs'],
  { psnr, psnrOfH265 }: Watched,
): readonly (readonly number[] | null)[] {
  const ofCodec = (codec: string): RecipeRun['outputs'] =>
    outputs.filter(({ deliverable }) => deliverable.outcome.codec === codec);
  const stated = new Map(
    [
      { of: ofCodec('h264'), said: psnr },
      { of: ofCodec('h265'), said: psnrOfH265 },
    ].flatMap(({ of, said }) =>
      said.length === of.length ? of.map((output, index) => [output, said[index] ?? null] as const) : [],
    ),
  );
  return outputs.map((output) => stated.get(output) ?? null);
}

/** What ended early may end within a sample; why it ended is reported by others. */
export function asFarAsItCame<Fingerprints>(read: () => Fingerprints | null): Fingerprints | null {
  try {
    return read();
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}
