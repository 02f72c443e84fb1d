/** Escaping of one option value inside a filter graph: the option's level, then the graph's (ffmpeg-filters, "Notes on filtergraph escaping"). */
export function graphValue(text: string): string {
  return text.replace(/[\\':]/g, '\\$&').replace(/[\\'[\],;]/g, '\\$&');
}

/** A file among the slaves of the tee muxer: apart from the options before it, `|`, quotes, backslashes and spaces mean something (ffmpeg-formats, "tee"). */
export function teeFile(path: string): string {
  return `file:${path.replace(/[\\'|\s]/g, '\\$&')}`;
}
