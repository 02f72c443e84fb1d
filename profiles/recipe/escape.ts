/** Escaping of one option value inside a filter graph: the option's level, then the graph's (ffmpeg-filters, "Notes on filtergraph escaping"). */
export function graphValue(text: string): string {
  return text.replace(/[\\':]/g, '\\$&').replace(/[\\'[\],;]/g, '\\$&');
}
