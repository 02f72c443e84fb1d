/** The middle value; of an even number, the mean of the two in the middle. Throws RangeError without values. */
export function median(values: readonly number[]): number {
  if (values.length === 0) throw new RangeError('no values');
  const sorted = [...values].sort((one, other) => one - other);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1
    ? (sorted[middle] as number)
    : ((sorted[middle - 1] as number) + (sorted[middle] as number)) / 2;
}
