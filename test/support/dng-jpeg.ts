/** A lossless JPEG encoder for tests (ITU-T T.81, annexes C, F and H), which knows nothing of the reader. */

export interface JpegOptions {
  readonly components?: 1 | 2 | 3 | 4;
  /** 1 to 7. */
  readonly predictor?: number;
  readonly pointTransform?: number;
  /** Lines between restart markers. */
  readonly restartLines?: number;
  /** Bits of a sample as the header states them; the picture's own by default. */
  readonly precision?: number;
  /** Rows of the picture in one line of the stream. */
  readonly rowsInLine?: number;
  /** Which differences get the short codes. */
  readonly codes?: 'by-frequency' | 'rarest-first';
  /** One table for each component instead of one for all. */
  readonly ownTables?: boolean;
  /** Bytes of fill before each marker within the samples. */
  readonly fillBytes?: number;
}

/** Bits of difference, T.81 table H.2. */
function sizeOf(difference: number): number {
  return difference === 0 ? 0 : 32 - Math.clz32(Math.abs(difference));
}

class BitWriter {
  readonly bytes: number[] = [];
  #held = 0;
  #count = 0;
  put(value: number, bits: number): void {
    for (let bit = bits - 1; bit >= 0; bit -= 1) {
      this.#held = (this.#held << 1) | ((value >> bit) & 1);
      this.#count += 1;
      if (this.#count === 8) {
        this.bytes.push(this.#held);
        if (this.#held === 0xff) this.bytes.push(0);
        this.#held = 0;
        this.#count = 0;
      }
    }
  }
  /** Up to a whole byte with ones (F.1.2.3). */
  flush(): void {
    while (this.#count !== 0) this.put(1, 1);
  }
}

interface Code {
  readonly bits: number;
  readonly code: number;
}

/** 17 symbols: one of 2 bits, three of 3, and one of each length from 4 to 16. */
const COUNTS = [0, 1, 3, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1];

function codesOf(symbols: readonly number[]): Map<number, Code> {
  const codes = new Map<number, Code>();
  let code = 0;
  let next = 0;
  for (const [index, count] of COUNTS.entries()) {
    for (let each = 0; each < count; each += 1)
      codes.set(symbols[next++] as number, { bits: index + 1, code: code++ });
    code *= 2;
  }
  return codes;
}

/** Samples in rows of `width`, encoded as one stream from SOI to EOI. */
export function encodeLossless(
  samples: Uint16Array,
  width: number,
  height: number,
  bits: number,
  options: JpegOptions = {},
): Buffer {
  const {
    components = 1,
    predictor = 1,
    pointTransform = 0,
    restartLines = 0,
    precision = bits,
    rowsInLine = 1,
    codes = 'by-frequency',
    ownTables = false,
    fillBytes = 0,
  } = options;
  const lineSamples = width * rowsInLine;
  const lines = height / rowsInLine;
  const samplesPerLine = lineSamples / components;
  if (!Number.isInteger(samplesPerLine) || !Number.isInteger(lines))
    throw new RangeError(
      `${width}x${height} does not part into ${components} components and lines of ${rowsInLine} rows`,
    );

  const value = (line: number, column: number): number =>
    (samples[line * lineSamples + column] as number) >> pointTransform;
  const differences: number[] = [];
  for (let line = 0; line < lines; line += 1) {
    const first = line === 0 || (restartLines > 0 && line % restartLines === 0);
    for (let column = 0; column < lineSamples; column += 1) {
      let guess: number;
      if (column < components)
        guess = first ? 2 ** (precision - pointTransform - 1) : value(line - 1, column);
      else {
        const a = value(line, column - components);
        if (first) guess = a;
        else {
          const b = value(line - 1, column);
          const c = value(line - 1, column - components);
          guess = [
            a,
            b,
            c,
            a + b - c,
            a + Math.floor((b - c) / 2),
            b + Math.floor((a - c) / 2),
            Math.floor((a + b) / 2),
          ][predictor - 1] as number;
        }
      }
      // Modulo 65536, as the smallest number of that class: −32767 to 32768.
      let difference = (value(line, column) - guess) & 0xffff;
      if (difference > 32_768) difference -= 65_536;
      differences.push(difference);
    }
  }

  const symbolsFor = (component: number): number[] => {
    const found = new Map(Array.from({ length: 17 }, (_, size) => [size, 0]));
    for (const [index, difference] of differences.entries())
      if (!ownTables || index % components === component)
        found.set(sizeOf(difference), (found.get(sizeOf(difference)) ?? 0) + 1);
    const sorted = [...found]
      .sort((one, other) => other[1] - one[1] || one[0] - other[0])
      .map(([size]) => size);
    const all =
      codes === 'by-frequency'
        ? sorted
        : sorted
            .filter((size) => (found.get(size) ?? 0) === 0)
            .concat(sorted.filter((size) => (found.get(size) ?? 0) > 0).reverse());
    return all;
  };
  const tables = Array.from({ length: ownTables ? components : 1 }, (_, component) =>
    symbolsFor(component),
  ).map((symbols) => {
    const total = COUNTS.reduce((sum, count) => sum + count, 0);
    return { symbols: symbols.slice(0, total), codes: codesOf(symbols) };
  });

  const out: number[] = [0xff, 0xd8];
  const segment = (marker: number, bytes: readonly number[]): void => {
    out.push(0xff, marker, (bytes.length + 2) >> 8, (bytes.length + 2) & 0xff, ...bytes);
  };
  segment(0xc3, [
    precision,
    lines >> 8,
    lines & 0xff,
    samplesPerLine >> 8,
    samplesPerLine & 0xff,
    components,
    ...Array.from({ length: components }, (_, index) => [index, 0x11, 0]).flat(),
  ]);
  for (const [number, table] of tables.entries()) segment(0xc4, [number, ...COUNTS, ...table.symbols]);
  if (restartLines > 0)
    segment(0xdd, [(restartLines * samplesPerLine) >> 8, (restartLines * samplesPerLine) & 0xff]);
  segment(0xda, [
    components,
    ...Array.from({ length: components }, (_, index) => [index, (ownTables ? index : 0) << 4]).flat(),
    predictor,
    0,
    pointTransform,
  ]);

  const chunks = [Buffer.from(out)];
  const linesInPart = restartLines > 0 ? restartLines : lines;
  const parts = Math.ceil(lines / linesInPart);
  for (let part = 0; part < parts; part += 1) {
    const writer = new BitWriter();
    for (
      let index = part * linesInPart * lineSamples;
      index < Math.min(lines, (part + 1) * linesInPart) * lineSamples;
      index += 1
    ) {
      const difference = differences[index] as number;
      const size = sizeOf(difference);
      const code = tables[ownTables ? index % components : 0]?.codes.get(size) as Code;
      writer.put(code.code, code.bits);
      if (size > 0 && size < 16) writer.put(difference > 0 ? difference : difference + 2 ** size - 1, size);
    }
    writer.flush();
    chunks.push(
      Buffer.from(writer.bytes),
      Buffer.alloc(fillBytes, 0xff),
      Buffer.from([0xff, part === parts - 1 ? 0xd9 : 0xd0 + (part % 8)]),
    );
  }
  return Buffer.concat(chunks);
}
