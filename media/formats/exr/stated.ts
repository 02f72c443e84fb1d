/** What an OpenEXR header says beside the picture, and which of it a master of the picture can say as well. */
import { StillDamage } from '../still.ts';
import { type StatedValue, statedTypes } from '../stated-schema.ts';
import { type StatedFrame, StatedGatherer } from '../stated.ts';
import { type ExrAttribute, type ExrType, exrValue } from './attribute.ts';

/** How the file is stored, which a master says of itself; nobody misses it. */
const OF_THE_FILE: ReadonlySet<string> = new Set([
  ...['channels', 'compression', 'dataWindow', 'displayWindow', 'lineOrder', 'pixelAspectRatio'],
  ...['screenWindowCenter', 'screenWindowWidth', 'tiles', 'type', 'name', 'version', 'chunkCount'],
  ...[
    'acesImageContainerFlag',
    'imageChecksum',
    'headerChecksum',
    'dwaCompressionLevel',
    'maxSamplesPerPixel',
  ],
  // Read as facts of the clip, and written from those.
  ...['timeCode', 'framesPerSecond', 'reelName'],
]);

const OF_ITS_VALUES = 'says what the values meant in the source; a master says it of its own';
const WHY: Readonly<Record<string, string>> = {
  chromaticities: OF_ITS_VALUES,
  adoptedNeutral: OF_ITS_VALUES,
  whiteLuminance: OF_ITS_VALUES,
  colorInteropID: OF_ITS_VALUES,
  renderingTransform: OF_ITS_VALUES,
  lookModTransform: OF_ITS_VALUES,
  'oiio:ColorSpace': OF_ITS_VALUES,
  preview: 'a small picture of the source',
  envmap: 'no picture of a camera',
  multiView: 'a master has one view',
  view: 'a master has one view',
  imageCounter:
    'frames of a master are numbered anew; the number in the name of the source is its sourceFrame',
  timecodeRate: 'a master says framesPerSecond',
  sourceFile: 'a master says the name of the file that it was made from',
  sourceFrame: 'a master says the name of the file that it was made from',
  development: OF_ITS_VALUES,
  statedByHand: 'said of the master that it is the source of',
};

const isStatedType = (type: string): type is (typeof statedTypes)[number] =>
  statedTypes.some((one) => one === type);

function statedValueOf(attribute: ExrAttribute, type: (typeof statedTypes)[number]): StatedValue {
  const one = new Map([[attribute.name, attribute]]);
  const value = exrValue(one, attribute.name, type satisfies ExrType);
  if (value === null) throw new StillDamage('no value');
  if (typeof value === 'object' && 'num' in value) return [value.num, value.den];
  return typeof value === 'object' ? ([...value] as number[] | string[]) : value;
}

/** Attributes of a header, by their names. */
export function statedInExr(attributes: ReadonlyMap<string, ExrAttribute>): StatedFrame {
  const said = new StatedGatherer();
  for (const attribute of attributes.values()) {
    const { name, type, bytes } = attribute;
    if (OF_THE_FILE.has(name)) continue;
    const why = Object.hasOwn(WHY, name) ? WHY[name] : undefined;
    if (why !== undefined) said.leave(name, why);
    else if (!/^[\x21-\x7e]{1,255}$/.test(name)) said.leave(name, 'no name of ASCII letters without blanks');
    else if (!isStatedType(type)) said.leave(name, `of type ${type}, ${bytes.length} bytes`);
    else
      try {
        const value = statedValueOf(attribute, type);
        const numbers = [value].flat().filter((item) => typeof item === 'number');
        if (type === 'float' && value === Number.POSITIVE_INFINITY) said.float(name, value, name);
        else if (numbers.every(Number.isFinite)) {
          if (value !== '') said.add({ name, type, value, from: name });
        } else said.leave(name, 'no finite number');
      } catch (error) {
        // What no picture hangs on costs no picture.
        if (!(error instanceof StillDamage)) throw error;
        said.leave(name, error.message);
      }
  }
  return said.frame();
}
