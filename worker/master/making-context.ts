/** What the making of a clip's masters goes by, besides its job. */
import type { MediaTools } from '../../process/locate.ts';

export interface MakingContext {
  readonly tools: MediaTools;
  readonly threads: number;
  readonly stallMilliseconds: number;
  readonly signal: AbortSignal;
}
