/** A join that has to wait. */

/** Segments are not there, or not as they were made: the join waits until they are made again. Nothing is said of the clip. */
export class SegmentsIncomplete extends Error {
  override readonly name = 'SegmentsIncomplete';
}
