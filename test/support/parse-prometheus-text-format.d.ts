/** The package has no types of its own: what of it tests use. */
declare module 'parse-prometheus-text-format' {
  export default function parsePrometheusTextFormat(text: string): unknown;
}
