/** What compares the encoder's input of each movie with the source, while both are made; and what is said of it. */
import { encoderInputReport } from '../check/encoder-input.ts';
import type { WhileMadeReport } from '../check/while-made.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import type { MediaTools } from '../process/locate.ts';
import { isSiting, type Siting } from '../media/colour/siting.ts';
import { earlierField } from '../media/facts.ts';
import { turnOf, uprightFacts } from '../media/upright.ts';
import type { OpenedInput } from '../media/input.ts';
import { firstFrameSiting } from '../media/probe/first-frame.ts';
import { EncoderInputComparer, type EncoderInputVerdict } from '../proof/encoder-input/compare.ts';
import { modelOf } from '../proof/encoder-input/model.ts';
import { layoutOf } from '../proof/encoder-input/samples.ts';
import type { ThinComparer } from '../proof/colour-way/thin.ts';
import { isMatrix } from '../proof/levels.ts';
import { pixelsForFfmpeg } from '../profiles/ffmpeg-names.ts';
import { recordedTiles } from '../profiles/recipe/shown.ts';
import { factsSeen, SHOWN_PIXELS } from '../profiles/shown/decide.ts';
import type { Shown, ShownRecorded } from '../profiles/shown/schema.ts';
import { tiledPixels } from '../profiles/recipe/tiled-pixels.ts';
import { tilesOf } from '../profiles/recipe/tiles.ts';
import { subjectOf } from './claim.ts';

export interface ComparersRequest {
  readonly job: Job;
  readonly outputs: readonly { readonly deliverable: MovieWork }[];
  /** Colour ways of the outputs, as the recipe has them. */
  readonly ways: readonly Shown[];
  /** By colour way: what compares the pictures before and behind its table. */
  readonly thin: readonly ThinComparer[];
  readonly tools: MediaTools;
  readonly signal: AbortSignal;
}

/** By output, and behind them by colour way; null: it has no tiles. `input`: the whole clip; null: developed pictures, whose chroma is not subsampled. */
export async function encoderInputComparers(
  { job, outputs, ways, thin, tools, signal }: ComparersRequest,
  input: OpenedInput | null,
): Promise<(EncoderInputComparer | null)[]> {
  // Of what masters alone are made of, nothing stands upright before it is whole.
  if (outputs.length + ways.length === 0) return [];
  const facts = uprightFacts(job.facts);
  const turn = job.facts.raw === undefined ? turnOf(job.facts.video) : turnOf({ rotation: 0 });
  const sources = outputs.map(({ deliverable: { outcome } }) => factsSeen(facts, outcome.shown));
  const plans = outputs.map(({ deliverable: { profile, outcome } }, index) =>
    tilesOf(sources[index] ?? facts, profile, outcome),
  );
  if (plans.every((plan) => plan === null)) return plans.map(() => null);
  // Where chroma lies is asked of a decoded frame, and not taken from the facts that the recipe has it from.
  const stated =
    input === null ? null : await firstFrameSiting(input, tools, facts.video.streamIndex, signal);
  const siting: Siting = stated !== null && isSiting(stated) ? stated : 'left';
  const ofOutputs = plans.map((plan, index) => {
    const output = outputs[index];
    if (plan === null || output === undefined) return null;
    const { profile, outcome } = output.deliverable;
    const from = layoutOf(tiledPixels((sources[index] ?? facts).video.pixelFormat));
    const to = layoutOf(pixelsForFfmpeg(profile.pixels));
    const matrix = outcome.colour.matrix ?? '';
    const basis = outcome.proof.basis;
    if (from === null || to === null || basis === undefined || !isMatrix(matrix) || !isMatrix(basis.matrix))
      throw new RangeError('tiles of what is not computed again');
    return new EncoderInputComparer({
      plan,
      from,
      to,
      earlier: earlierField((sources[index] ?? facts).video),
      frames: outcome.frames,
      model: modelOf({
        from,
        to,
        source: { matrix: basis.matrix, range: from.kind === 'rgb' ? 'full' : basis.range },
        output: { matrix, range: outcome.colour.range === 'full' ? 'full' : 'limited' },
        siting,
        turn,
        ...(outcome.chromaSiting === null ? {} : { outputSiting: outcome.chromaSiting }),
        size: plan.source,
        scaled: plan.scaled,
      }),
    });
  });
  return [
    ...ofOutputs,
    ...ways.map((shown, way) =>
      shown.from === 'recorded'
        ? recordedComparer({ ...job, facts }, shown, { siting, turn }, thin[way])
        : null,
    ),
  ];
}

/** Of the R'G'B' that a colour way begins at, against the decoded pictures. */
function recordedComparer(
  { facts, span }: Job,
  shown: ShownRecorded,
  chroma: Pick<Parameters<typeof modelOf>[0], 'siting' | 'turn'>,
  thin: ThinComparer | undefined,
): EncoderInputComparer {
  const from = layoutOf(tiledPixels(facts.video.pixelFormat));
  const to = layoutOf(SHOWN_PIXELS);
  const { matrix, range } = shown;
  if (from === null || to === null || !isMatrix(matrix))
    throw new RangeError('a colour way of what is not computed again');
  const plan = recordedTiles(facts);
  return new EncoderInputComparer({
    plan,
    from,
    to,
    earlier: earlierField(facts.video),
    // Strong colours go below 0 here and there, and a mean of what was cut off is another one.
    limitedToo: (frame) => thin?.limited(frame) ?? null,
    frames: span.count,
    model: modelOf({
      from,
      to,
      source: { matrix, range },
      output: { matrix, range: 'limited' },
      ...chroma,
      size: plan.source,
      scaled: plan.scaled,
    }),
  });
}

/** null: the output keeps every sample, or is of pixels that nobody computes again. */
export function encoderInputOf(
  job: Job,
  { profile, outcome }: MovieWork,
  seen: EncoderInputVerdict | null,
): WhileMadeReport | null {
  if (tilesOf(factsSeen(uprightFacts(job.facts), outcome.shown), profile, outcome) === null) return null;
  return encoderInputReport(seen, outcome.frames, { ...subjectOf(job), profile: profile.name });
}
