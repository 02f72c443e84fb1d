/** Identifiers of transforms in the registry of ACES, of those that go the same way as ours. */
import type { InputTransform } from '../../media/colour/input.ts';

export const REGISTRY = 'urn:ampas:aces:transformId:v2.0:';
/**
 * Of the registry of ACES (aces-aswf/aces, transforms.json, v2.0.0+2025.04.04): transforms that go the same way to ACES2065-1 as the
 * input of this name. That of LogC3 is published with the exposure index 800 as what is taken when nobody says.
 */
const REGISTERED: Readonly<Record<string, string>> = {
  'aces2065-1': 'CSC.Academy.Unity.a2.v1',
  acescg: 'CSC.Academy.ACEScg_to_ACES.a2.v1',
  acescct: 'CSC.Academy.ACEScct_to_ACES.a2.v1',
  acescc: 'CSC.Academy.ACEScc_to_ACES.a2.v1',
  acesproxy10: 'CSC.Academy.ACESproxy10i_to_ACES.a2.v1',
  acesproxy12: 'CSC.Academy.ACESproxy12i_to_ACES.a2.v1',
  adx10: 'CSC.Academy.ADX10_to_ACES.a2.v1',
  adx16: 'CSC.Academy.ADX16_to_ACES.a2.v1',
  'slog3-sgamut3cine': 'CSC.Sony.SLog3_SGamut3Cine_to_ACES.a2.v1',
  'slog3-sgamut3': 'CSC.Sony.SLog3_SGamut3_to_ACES.a2.v1',
  'logc3-awg3': 'CSC.Arri.LogC3_to_ACES.a2.v1',
  'logc4-awg4': 'CSC.Arri.LogC4_to_ACES.a2.v1',
  'vlog-vgamut': 'CSC.Panasonic.VLog_VGamut_to_ACES.a2.v1',
  'log3g10-rwg': 'CSC.Red.Log3G10_RWG_to_ACES.a2.v1',
};
const REGISTERED_INDEX = 800;

/** Identifier of the registry; null: it has none that does the same. */
export function registeredId(input: InputTransform): string | null {
  if (!('name' in input)) return null;
  if (input.name === 'logc3-awg3' && input.ei !== REGISTERED_INDEX) return null;
  const id = REGISTERED[input.name];
  return id === undefined ? null : `${REGISTRY}${id}`;
}

export const idOfAcescct = `${REGISTRY}${REGISTERED.acescct}`;

/** Of the same registry: from ACES2065-1 to the space, where it has both ways. It has none to LogC3. */
const REGISTERED_TO: Readonly<Record<string, string>> = {
  acescct: 'CSC.Academy.ACES_to_ACEScct.a2.v1',
  acescc: 'CSC.Academy.ACES_to_ACEScc.a2.v1',
  'slog3-sgamut3cine': 'CSC.Sony.ACES_to_SLog3_SGamut3Cine.a2.v1',
  'slog3-sgamut3': 'CSC.Sony.ACES_to_SLog3_SGamut3.a2.v1',
  'logc4-awg4': 'CSC.Arri.ACES_to_LogC4.a2.v1',
  'vlog-vgamut': 'CSC.Panasonic.ACES_to_VLog_VGamut.a2.v1',
  'log3g10-rwg': 'CSC.Red.ACES_to_Log3G10_RWG.a2.v1',
};
/** null: it has none that does the same. */
export function registeredIdTo(input: InputTransform): string | null {
  const id = 'name' in input ? REGISTERED_TO[input.name] : undefined;
  return id === undefined ? null : `${REGISTRY}${id}`;
}
