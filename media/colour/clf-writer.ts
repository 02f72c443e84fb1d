/**
 * A colour transform as a file of the Common LUT Format 3.0 (Academy S-2014-006; the nodes are those of SMPTE ST 2136-1). The
 * head is that of version 3.0, which readers of the standard's own head read as well, and older ones do not read any other.
 *
 * Curves by formula that the format has are written by their parameters. A published curve is a table of 65536 places, one for
 * every 16-bit float: straight lines between them miss the formula by less than a hundred-thousandth of the value (docs/amf.md).
 */
import { evaluateCurve } from './evaluate.ts';
import type { ColourTransform, Curve, Step } from './steps.ts';
import type { Triple } from './matrix.ts';

const ENDS = 'inBitDepth="32f" outBitDepth="32f"';
const GREATEST = 3e38;
const CHANNELS = ['R', 'G', 'B'] as const;

/** What XML 1.0 cannot hold in any spelling becomes a question mark. */
const escaped = (text: string): string =>
  text
    .replaceAll(/[\p{Cc}\p{Cs}\uFFFE\uFFFF]/gu, '?')
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;');
const short = (value: number): string =>
  String(Number(Math.min(GREATEST, Math.max(-GREATEST, value)).toPrecision(9)));

/** What a 16-bit float of these bits is (IEEE 754, binary16); 0 for infinities and what is no number, which nobody looks up. */
function halfOf(bits: number): number {
  const exponent = (bits >> 10) & 31;
  const fraction = bits & 1023;
  const size = exponent === 0 ? fraction * 2 ** -24 : (1024 + fraction) * 2 ** (exponent - 25);
  return exponent === 31 ? 0 : bits >> 15 === 1 ? -size : size;
}

const matrixNode = (rows: readonly Triple[], offset: Triple): string => {
  const plain = offset.every((value) => value === 0);
  const lines = rows.map((row, index) => (plain ? row : [...row, offset[index] as number]).join(' '));
  return `<Matrix ${ENDS}>\n<Array dim="3 ${plain ? 3 : 4}">\n${lines.join('\n')}\n</Array>\n</Matrix>`;
};

function tableNode(
  tables: readonly [ArrayLike<number>, ArrayLike<number>, ArrayLike<number>],
  isHalf: boolean,
): string {
  const [r, g, b] = tables;
  const isOne = r === g && g === b;
  const lines = Array.from({ length: r.length }, (_, index) =>
    (isOne ? [r] : tables).map((table) => short(table[index] as number)).join(' '),
  );
  return `<LUT1D ${ENDS}${isHalf ? ' halfDomain="true"' : ''}>\n<Array dim="${r.length} ${isOne ? 1 : 3}">\n${lines.join('\n')}\n</Array>\n</LUT1D>`;
}

/** Brings `low` to `high` to 0 to 1, where the tables of the format begin and end. */
function spreadNode(low: Triple, high: Triple): string[] {
  if (low.every((value) => value === 0) && high.every((value) => value === 1)) return [];
  const scale = low.map((value, channel) => 1 / ((high[channel] as number) - value));
  return [
    matrixNode(
      scale.map(
        (value, channel): Triple => [
          channel === 0 ? value : 0,
          channel === 1 ? value : 0,
          channel === 2 ? value : 0,
        ],
      ),
      scale.map((value, channel) => -(low[channel] as number) * value) as [number, number, number],
    ),
  ];
}

function sampled(curves: readonly [Curve, Curve, Curve]): string {
  const known = new Map<string, Float64Array>();
  const tableOf = (curve: Curve): Float64Array => {
    const key = JSON.stringify(curve);
    const table =
      known.get(key) ?? Float64Array.from({ length: 65536 }, (_, bits) => evaluateCurve(curve, halfOf(bits)));
    known.set(key, table);
    return table;
  };
  return tableNode([tableOf(curves[0]), tableOf(curves[1]), tableOf(curves[2])], true);
}

function curvesNode(curves: readonly [Curve, Curve, Curve]): string {
  const [first] = curves;
  if (first.form === 'log') {
    const style = (curve: Curve): string | null => {
      if (curve.form !== 'log') return null;
      const isCamera = curve.parameters.linSideBreak !== null;
      return curve.direction === 'toLin'
        ? isCamera
          ? 'cameraLogToLin'
          : 'logToLin'
        : isCamera
          ? 'cameraLinToLog'
          : 'linToLog';
    };
    const wanted = style(first);
    if (curves.every((curve) => style(curve) === wanted)) {
      const parameters = curves.map((curve, channel) => {
        if (curve.form !== 'log') throw new RangeError('a curve of another form');
        const said = Object.entries(curve.parameters).flatMap(([name, value]) =>
          value === null ? [] : [`${name}="${value}"`],
        );
        return `<LogParams channel="${CHANNELS[channel]}" ${said.join(' ')}/>`;
      });
      return `<Log ${ENDS} style="${wanted}">\n${parameters.join('\n')}\n</Log>`;
    }
  }
  if (
    first.form === 'exponent' &&
    curves.every((one) => one.form === 'exponent' && one.style === first.style)
  ) {
    const parameters = curves.map((curve, channel) =>
      curve.form === 'exponent'
        ? `<ExponentParams channel="${CHANNELS[channel]}" exponent="${curve.exponent}"${curve.offset === null ? '' : ` offset="${curve.offset}"`}/>`
        : '',
    );
    return `<Exponent ${ENDS} style="${first.style}">\n${parameters.join('\n')}\n</Exponent>`;
  }
  return sampled(curves);
}

function nodesOf(step: Step): string[] {
  switch (step.kind) {
    case 'matrix':
      return [matrixNode(step.matrix, step.offset)];
    case 'curves':
      return [curvesNode(step.curves)];
    case 'clamp': {
      const pair = (name: string, value: number | null): string =>
        value === null
          ? ''
          : `<${name}InValue>${value}</${name}InValue>\n<${name}OutValue>${value}</${name}OutValue>\n`;
      return [`<Range ${ENDS}>\n${pair('min', step.low)}${pair('max', step.high)}</Range>`];
    }
    case 'cdl':
      return [
        `<ASC_CDL ${ENDS} style="${step.style}">\n<SOPNode>\n<Slope>${step.slope.join(' ')}</Slope>\n<Offset>${step.offset.join(' ')}</Offset>\n<Power>${step.power.join(' ')}</Power>\n</SOPNode>\n<SatNode>\n<Saturation>${step.saturation}</Saturation>\n</SatNode>\n</ASC_CDL>`,
      ];
    case 'table1':
      return step.domain === 'half'
        ? [tableNode(step.tables, true)]
        : [...spreadNode(step.domain.low, step.domain.high), tableNode(step.tables, false)];
    case 'table3': {
      const { size, values } = step;
      const lines: string[] = [];
      for (let r = 0; r < size; r += 1)
        for (let g = 0; g < size; g += 1)
          for (let b = 0; b < size; b += 1) {
            const at = 3 * (r + size * (g + size * b));
            lines.push([0, 1, 2].map((channel) => short(values[at + channel] as number)).join(' '));
          }
      return [
        ...spreadNode(step.low, step.high),
        `<LUT3D ${ENDS} interpolation="${step.interpolation}">\n<Array dim="${size} ${size} ${size} 3">\n${lines.join('\n')}\n</Array>\n</LUT3D>`,
      ];
    }
  }
}

/** `id`: without spaces. `output`: what comes out, ACES2065-1 when absent. A transform without a step is the matrix that changes nothing, since the format wants a node. */
export function clfText(
  { steps }: ColourTransform,
  {
    id,
    description,
    output = 'ACES2065-1',
  }: { readonly id: string; readonly description: string; readonly output?: string },
): string {
  const nodes = steps.flatMap(nodesOf);
  const all =
    nodes.length > 0
      ? nodes
      : [
          matrixNode(
            [
              [1, 0, 0],
              [0, 1, 0],
              [0, 0, 1],
            ],
            [0, 0, 0],
          ),
        ];
  return `<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="${escaped(id)}" compCLFversion="3.0">\n<Description>${escaped(description)}</Description>\n<OutputDescriptor>${escaped(output)}</OutputDescriptor>\n${all.join('\n')}\n</ProcessList>\n`;
}
