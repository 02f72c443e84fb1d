/** The faults that a colour way can have, each drawn for a clip and its way as an operation of `ffmpeg-with-a-fault.mjs`. */
import type { FindingCode } from '../../findings/registry.ts';
import type { Shown } from '../../profiles/shown/schema.ts';
import type { WayLook } from '../../media/colour/way.ts';
import type { Operation } from './operation.ts';
import type { Random } from './random.ts';

export interface WaySituation {
  readonly shown: Shown;
  readonly width: number;
  readonly height: number;
  readonly frames: number;
  /** Another one than that of the clip. */
  readonly otherLook: WayLook;
}

/** What is done: in the graph, or another table than that of the clip: of another way, or with the look in front of exposure and CDL. `claimed` false: smaller than what is promised to be found. */
export type WayFault =
  | Operation
  | { readonly do: 'bake'; readonly shown: Shown; readonly lookInFront?: true; readonly claimed?: boolean };
type Draw = (situation: WaySituation, random: Random) => WayFault | null;

const graph = (from: string, to: string): Operation => ({ do: 'graph', stage: 'encoder', from, to });
const behind = (filters: string): Operation => graph(':interp=tetrahedral', `:interp=tetrahedral,${filters}`);
const inFront = (filters: string): Operation => graph(';[table0]', `;[table0]${filters},`);
const bake = (shown: Shown): WayFault => ({ do: 'bake', shown });
const withWay = (shown: Shown, way: Partial<Shown['way']>): WayFault =>
  bake({ ...shown, way: { ...shown.way, ...way } });
const isPlaced = ({ output }: Shown): boolean => output !== null && 'placed' in output;
const recorded =
  (operation: Operation): Draw =>
  ({ shown }) =>
    shown.from === 'recorded' ? operation : null;
const developed =
  (operation: (situation: WaySituation, random: Random) => Operation): Draw =>
  (situation, random) =>
    situation.shown.from === 'developed' ? operation(situation, random) : null;
const only = (frame: number): string => `enable='eq(n\\,${frame})'`;
/** Sizes, weakest first, and the weakest that is promised to be found (docs/campaign.md). */
const gradedWays = {
  exposure: { sizes: [0.0003, 0.001, 0.003, 0.01, 0.03, 0.1], least: 0.01 },
  saturation: { sizes: [0.0003, 0.001, 0.003, 0.01, 0.03, 0.1], least: 0.01 },
  red: { sizes: [0.0003, 0.001, 0.003, 0.01, 0.03, 0.1], least: 0.01 },
} as const;
type CdlValues = NonNullable<Shown['way']['cdl']>['values'];
/** Sizes of three in four are at or above what is promised. */
function sized(
  of: keyof typeof gradedWays,
  change: (shown: Shown, size: number) => Partial<Shown['way']> | null,
): Draw {
  return ({ shown }, random) => {
    const { sizes, least } = gradedWays[of];
    const isBelow = random.below(4) === 0;
    const size = random.of(sizes.filter((one) => one < least === isBelow));
    const way = isPlaced(shown) ? null : change(shown, random.of([size, -size]));
    return way === null
      ? null
      : { do: 'bake', shown: { ...shown, way: { ...shown.way, ...way } }, claimed: size >= least };
  };
}
const withCdl =
  (change: (values: CdlValues, size: number) => Partial<CdlValues>) =>
  ({ way: { cdl } }: Shown, size: number): Partial<Shown['way']> | null =>
    cdl === null ? null : { cdl: { ...cdl, values: { ...cdl.values, ...change(cdl.values, size) } } };
const stops =
  (least: number): Draw =>
  ({ shown }, random) =>
    isPlaced(shown) ? null : withWay(shown, { exposure: shown.way.exposure + random.of([least, -least]) });

/** Filters that take an R'G'B' picture of 14 bits. */
function block({ width, height, frames }: WaySituation, random: Random): string {
  const side = random.of([8, 16, 32]);
  const [left, top] = [random.below(width - side), random.below(height - side)];
  const inside = `between(X\\,${left}\\,${left + side - 1})*between(Y\\,${top}\\,${top + side - 1})`;
  return `geq=r='if(${inside}\\,16383-r(X\\,Y)\\,r(X\\,Y))':g='if(${inside}\\,16383-g(X\\,Y)\\,g(X\\,Y))':b='b(X\\,Y)':${only(random.below(frames))}`;
}

const TRANSFERS = {
  'bt1886-bt709': 'bt709',
  'pq-bt2020': 'smpte2084',
  'hlg-bt2020': 'arib-std-b67',
} as const;

export const wayFaults = {
  'other-look': ({ shown, otherLook }) =>
    shown.way.look === null ? null : withWay(shown, { look: otherLook }),
  'look-left-out': ({ shown }) => (shown.way.look === null ? null : withWay(shown, { look: null })),
  'look-added': ({ shown, otherLook }) =>
    shown.way.look !== null || isPlaced(shown) ? null : withWay(shown, { look: otherLook }),
  'cdl-left-out': ({ shown }) => (shown.way.cdl === null ? null : withWay(shown, { cdl: null })),
  'cdl-channels-exchanged': ({ shown }) => {
    const { cdl } = shown.way;
    if (cdl === null) return null;
    const { slope, offset, power } = cdl.values;
    const turned = ([r, g, b]: typeof slope): typeof slope => [b, g, r];
    return withWay(shown, {
      cdl: {
        ...cdl,
        values: { ...cdl.values, slope: turned(slope), offset: turned(offset), power: turned(power) },
      },
    });
  },
  'a-stop': stops(1),
  'a-third-of-a-stop': stops(1 / 3),
  'exposure-off': sized('exposure', ({ way }, stops) => ({ exposure: way.exposure + stops })),
  'saturation-off': sized(
    'saturation',
    withCdl(({ saturation }, part) => ({ saturation: saturation * (1 + part) })),
  ),
  'red-off': sized(
    'red',
    withCdl(({ slope: [red, green, blue] }, part) => ({ slope: [red * (1 + part), green, blue] })),
  ),
  'look-in-front': ({ shown }) =>
    shown.way.look === null || (shown.way.cdl === null && shown.way.exposure === 0)
      ? null
      : { do: 'bake', shown, lookInFront: true },
  'other-output-transform': ({ shown }) => {
    const { output } = shown;
    if (output === null || 'placed' in output) return null;
    const { rendering } = output;
    return bake({
      ...shown,
      output: {
        ...output,
        rendering:
          output.display === 'pq-bt2020'
            ? { ...rendering, peak: 600 }
            : { ...rendering, version: rendering.version === 'aces-2' ? 'aces-1' : 'aces-2' },
      },
    });
  },
  'rendered-and-not-placed': ({ shown }) =>
    isPlaced(shown)
      ? bake({
          ...shown,
          output: {
            rendering: { version: 'aces-2', peak: 1000, limiting: 'p3-d65' },
            display: shown.display,
          },
        })
      : null,
  'placed-for-another-display': ({ shown }) => {
    const { output } = shown;
    if (output === null || !('placed' in output)) return null;
    return bake({
      ...shown,
      output: { ...output, display: output.display === 'pq-bt2020' ? 'hlg-bt2020' : 'pq-bt2020' },
    });
  },
  'other-input': ({ shown }, random) =>
    shown.from === 'recorded' && !isPlaced(shown)
      ? bake({ ...shown, input: { name: random.of(['vlog-vgamut', 'logc4-awg4', 'bt709']) } })
      : null,
  'legal-for-full': recorded(graph(':in_range=limited', ':in_range=full')),
  'another-matrix': ({ shown }, random) =>
    shown.from === 'recorded'
      ? graph(`in_color_matrix=${shown.matrix}`, `in_color_matrix=${random.of(['smpte170m', 'fcc'])}`)
      : null,
  'transfer-tag': ({ shown }, random) => {
    const tag = TRANSFERS[shown.display];
    const other = random.of(Object.values(TRANSFERS).filter((one) => one !== tag));
    return graph(`color_trc=${tag}`, `color_trc=${other}`);
  },
  'table-left-out': () => graph(':interp=tetrahedral', ':interp=tetrahedral:enable=0'),
  'table-left-out-in-a-frame': ({ frames }, random) =>
    graph(':interp=tetrahedral', `:interp=tetrahedral:enable='not(eq(n\\,${random.below(frames)}))'`),
  'curve-left-out': () => graph(':interp=nearest', ':interp=nearest:enable=0'),
  'other-places-between': (_, random) =>
    graph(':interp=tetrahedral', `:interp=${random.of(['nearest', 'trilinear'])}`),
  'frame-lost': ({ frames }, random) =>
    random.of([behind, inFront])(`select='not(eq(n\\,${random.below(frames)}))'`),
  'frame-repeated': (_, random) => random.of([behind, inFront])('shuffleframes=0 0'),
  'frames-mixed': (_, random) => random.of([behind, inFront])('tmix=frames=2:weights=1 3'),
  'block-behind': (situation, random) => behind(block(situation, random)),
  'block-before': (situation, random) => inFront(block(situation, random)),
  'fed-a-code-more': developed(({ frames }, random) =>
    graph(
      'showinfo=checksum=0,split',
      `showinfo=checksum=0,lutrgb=r=val+1:${only(random.below(frames))},split`,
    ),
  ),
  'fed-another-frame': developed(() =>
    graph('showinfo=checksum=0,split', 'showinfo=checksum=0,shuffleframes=0 0,split'),
  ),
} as const satisfies Record<string, Draw>;
export type WayFaultName = keyof typeof wayFaults;
export const wayFaultNames = Object.keys(wayFaults) as WayFaultName[];

const WAY: readonly FindingCode[] = ['colour-way-differs'];
const OF_OTHERS: Partial<Record<WayFaultName, readonly FindingCode[]>> = {
  'legal-for-full': ['encoder-input-differs'],
  'another-matrix': ['encoder-input-differs'],
  'transfer-tag': ['colour-tags-differ'],
  'fed-a-code-more': ['master-picture-differs'],
  'fed-another-frame': ['master-picture-differs'],
};
/** Held for what it is. */
export const isAptWay = (name: WayFaultName, codes: readonly string[]): boolean =>
  (OF_OTHERS[name] ?? WAY).some((code) => codes.includes(code));
