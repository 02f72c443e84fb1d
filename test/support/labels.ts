/** Timecode by counting, one label after the other: how SMPTE ST 12-1 tells it, without the arithmetic of the product. */

/** The label that follows, `:` before the frames without drop-frame. */
export function nextLabel(label: string, base: number): string {
  const drop = label[8] === ';';
  const [text, frames] = [label.slice(0, 8), Number(label.slice(9))];
  let [h, m, s] = text.split(':').map(Number) as [number, number, number];
  let f = frames + 1;
  if (f === base) [f, s] = [0, s + 1];
  if (s === 60) {
    [s, m] = [0, m + 1];
    // Labels 0 and 1 (0 to 3 of 60) do not exist where a minute begins, but for every tenth.
    if (drop && m % 10 !== 0) f = base / 15;
  }
  if (m === 60) [m, h] = [0, h + 1];
  const two = (value: number): string => String(value).padStart(2, '0');
  return `${two(h % 24)}:${two(m)}:${two(s)}${drop ? ';' : ':'}${two(f)}`;
}

export function labelAfter(label: string, base: number, frames: number): string {
  let now = label;
  for (let at = 0; at < frames; at += 1) now = nextLabel(now, base);
  return now;
}
