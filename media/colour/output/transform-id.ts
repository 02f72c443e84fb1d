/** Identifiers of output transforms in the registry of ACES (aces-aswf/aces, transforms.json: v2.0.0+2025.04.04 and v1.3.1). */
import type { Display, Limiting } from './displays.ts';
import type { OutputTransform } from './schema.ts';

const LIMITS: Readonly<Record<Limiting, string>> = {
  bt709: 'Rec709-D65',
  'p3-d65': 'P3-D65',
  bt2020: 'Rec2100-D65',
};
const DISPLAYS: Readonly<Record<Display, string>> = {
  'bt1886-bt709': 'Rec709-D65_BT1886',
  srgb: 'Rec709-D65_sRGB-Piecewise',
  'srgb-p3d65': 'P3-D65_sRGB-Piecewise',
  'pq-bt2020': 'Rec2100-D65_ST2084',
  'hlg-bt2020': 'Rec2100-D65_HLG',
};
/** Peaks, in cd/m², that the registry has with each display and limit. */
const PEAKS: Readonly<Record<Display, Readonly<Record<Limiting, readonly number[]>>>> = {
  'bt1886-bt709': { bt709: [100], 'p3-d65': [], bt2020: [] },
  srgb: { bt709: [100], 'p3-d65': [], bt2020: [] },
  'srgb-p3d65': { bt709: [100], 'p3-d65': [100], bt2020: [] },
  'pq-bt2020': { bt709: [100], 'p3-d65': [500, 1000, 2000, 4000], bt2020: [500, 1000, 2000, 4000] },
  'hlg-bt2020': { bt709: [], 'p3-d65': [1000], bt2020: [] },
};

const ACES1 = 'urn:ampas:aces:transformId:v1.5:RRTODT.Academy.Rec2020';
function idOfAces1({ rendering: { peak, limiting }, display }: OutputTransform): string | null {
  if (limiting !== 'bt2020') return null;
  if (display === 'hlg-bt2020') return `${ACES1}_${peak}nits_15nits_HLG.a1.1.0`;
  return `${ACES1}_${peak}nits_15nits_ST2084.a1.1.0`;
}

/**
 * The one identifier of a transform; null: there is none. ACES 1 has one for high dynamic range limited to BT.2020 alone: its video of
 * 100 cd/m² is a pair there, a reference rendering and an output device transform, and its limit to P3 within BT.2020 has no entry.
 */
export function outputTransformId(transform: OutputTransform): string | null {
  const {
    rendering: { version, peak, limiting },
    display,
  } = transform;
  if (version === 'aces-1') return idOfAces1(transform);
  if (!PEAKS[display][limiting].includes(peak)) return null;
  return `urn:ampas:aces:transformId:v2.0:Output.Academy.${LIMITS[limiting]}_${peak}nit_in_${DISPLAYS[display]}.a2.v1`;
}
