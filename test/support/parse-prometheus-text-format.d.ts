/** The package has no types of its own: what of it tests use. It is one function, of the form of CommonJS. */
declare module 'parse-prometheus-text-format' {
  function parsePrometheusTextFormat(text: string): unknown;
  export = parsePrometheusTextFormat;
}
