/** What was measured of one staged or published file, from its bytes on disk. Whatever could not be measured is null. */
import type { ClipFacts } from '../media/facts.ts';
import type { FileDigest } from '../files/digest.ts';
import type { ProbeEvidence } from '../media/probe/index.ts';
import type { Ffv1Configuration, Ffv1Frame } from './ffv1.ts';
import type { Matroska } from './matroska.ts';
import type { Movie } from './movie/read.ts';
import type { WitnessFacts } from './witness.ts';

/** One decode of everything in the file, from first to last byte. */
export interface DecodeFacts {
  /** Pictures that came out of the decoder. */
  readonly frames: number;
  /** Lines that the decoder tagged as error or worse, in order; the first twenty. */
  readonly errors: readonly string[];
  readonly errorCount: number;
  readonly exitCode: number | null;
  /** How the decoder's process ended, in words: `exited`, `signalled`, … */
  readonly ended: string;
}

export interface MeasuredMatroska {
  readonly file: Matroska;
  /** What the picture's track says of its stream, and the first frame of itself. */
  readonly configuration: Ffv1Configuration;
  readonly frame: Ffv1Frame;
}

export interface Measured {
  readonly digest: FileDigest;
  /** Packet scan. */
  readonly facts: ClipFacts | null;
  readonly evidence: ProbeEvidence | null;
  readonly decode: DecodeFacts | null;
  /** Of the same decode. */
  readonly witness: WitnessFacts | null;
  /** Read by our own readers, without ffmpeg's libraries: of a QuickTime or MP4 file, or of a Matroska file. */
  readonly movie: Movie | null;
  readonly matroska: MeasuredMatroska | null;
}
