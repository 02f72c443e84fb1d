/** A transform that lies in a file of its own, as it is kept beside the reports. */
export interface TransformFile {
  /** Where it was read; of one that was made of it, the same. */
  readonly path: string;
  readonly sha256: string;
  /** With its dot: `.cube`, `.clf`. */
  readonly extension: string;
  readonly text: string;
}
