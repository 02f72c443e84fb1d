/** The recipe: everything behind the input of the one ffmpeg command that makes all deliverables of a job from one decode. */
import type { ClipFacts } from '../../media/facts.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { composeOutputs } from './compose.ts';
import { encodeOptions } from './encode.ts';
import { pictureChain, type TextFile, type Words } from './picture.ts';

export interface RecipeRequest {
  readonly facts: ClipFacts;
  /** `path`: where the output is written, absolute. */
  readonly deliverables: readonly { readonly profile: Profile; readonly outcome: Outcome; readonly path: string }[];
  readonly words: Words;
  /** A private folder for text that is drawn into the picture. */
  readonly textFolder: string;
  readonly threads: number;
}

export interface Recipe {
  /** Options that stand before the input's own arguments. */
  readonly inputOptions: readonly string[];
  readonly filterGraph: string;
  readonly outputArguments: readonly string[];
  /** To be written before the command runs. */
  readonly textFiles: readonly TextFile[];
}

/**
 * `showinfo` stands straight behind the decoder: it tells time and size of every decoded frame before any filter could
 * drop, repeat or scale one.
 */
export function recipeOf({ facts, deliverables, words, textFolder, threads }: RecipeRequest): Recipe {
  const chains = deliverables.map(({ profile, outcome }) => pictureChain(facts, profile, outcome, words, textFolder));
  const single = chains.length === 1;
  const head = `[0:${facts.video.streamIndex}]showinfo=checksum=0,setpts=PTS-STARTPTS${single ? ',' : `,split=${chains.length}${chains.map((_, index) => `[in${index}]`).join('')};`}`;
  const graph = head + chains.map((chain, index) => `${single ? '' : `[in${index}]`}${chain.filters.join(',')}[out${index}]`).join(';');
  const outputs = deliverables.map(({ profile, outcome, path }, index) => ({ options: encodeOptions(facts, profile, outcome, `[out${index}]`, threads), path }));
  return { inputOptions: ['-threads', String(threads)], filterGraph: graph, outputArguments: composeOutputs(outputs), textFiles: chains.flatMap((chain) => chain.files) };
}
