/**
 * What the ACES Metadata File beside a master says of the looks that its pictures are viewed with, in the order in which they are applied, and of the
 * output transform. None of it is baked in. Every look goes from ACES2065-1 to ACES2065-1 (S-2019-001): what the registry of ACES has no identifier for
 * is named by a file of the Common LUT Format, which is kept beside the reports.
 */
import { z } from 'zod';
import { cdlSchema } from '../../media/colour/cdl.ts';
import {
  type ColourWay,
  endsOnDisplay,
  inputOfSpace,
  logSpaces,
  type LogSpace,
  wayLookSchema,
} from '../../media/colour/way.ts';
import { exposureFile, spaceFile } from '../../media/colour/way-files.ts';
import { REGISTRY, registeredId, registeredIdTo } from './amf-registry.ts';

const byFile = z.object({
  kind: z.literal('file'),
  sha256: z.string().describe('Of a .clf file beside the reports, by which it is named there'),
});
const byId = z.object({ kind: z.literal('id'), id: z.string().describe('In the registry of ACES') });
const namedSchema = z.discriminatedUnion('kind', [byId, byFile]);
export type NamedTransform = z.infer<typeof namedSchema>;

const description = z.string().describe('In words, as it is written there');
export const amfLookSchema = z.discriminatedUnion('what', [
  z.object({
    what: z.literal('exposure').describe('What it is'),
    stops: z.number().describe('The gain is 2^stops'),
    by: byFile.describe('The transform'),
    description,
  }),
  z.object({
    what: z.literal('gamut-compression').describe('What it is'),
    by: byId.describe('The transform'),
    description,
  }),
  z.object({
    what: z.literal('cdl').describe('What it is'),
    values: cdlSchema.describe('Slope, offset, power and saturation'),
    space: z.enum(logSpaces).describe('In which it is applied'),
    to: namedSchema.describe('From ACES2065-1 to that space'),
    from: namedSchema.describe('And back'),
    description,
  }),
  z.object({
    what: z.literal('look').describe('What it is'),
    by: byFile.describe('The transform'),
    look: wayLookSchema.describe('The file that it was made of'),
    description,
  }),
]);
export type AmfLook = z.infer<typeof amfLookSchema>;

const byPair = z.object({
  kind: z.literal('pair'),
  rendering: z.string().describe('Reference rendering transform, in the registry of ACES'),
  device: z.string().describe('Output device transform, in the registry of ACES'),
});
export const amfOutputSchema = z.object({
  by: z.discriminatedUnion('kind', [byId, byFile, byPair]).describe('The transform; of ACES 1 a pair'),
  look: wayLookSchema
    .nullable()
    .describe('A look that ends on a display takes the place of the output transform; null: it does not'),
  description,
});
export type AmfOutput = z.infer<typeof amfOutputSchema>;

export interface AmfLooks {
  readonly looks: AmfLook[];
  /** null: pictures are shown as they were recorded. */
  readonly output: AmfOutput | null;
}

/** Of the registry of ACES (aces-aswf/aces-look, Look.Academy.ReferenceGamutCompress.ctl). */
const GAMUT_COMPRESSION = `${REGISTRY}Look.Academy.ReferenceGamutCompress.a2.v1`;

/**
 * To the screen that most of a show's viewing is done on, ITU-R BT.709 by BT.1886 at 100 cd/m². Of ACES 2: registry v2.0.0+2025.04.04; of ACES 1, which has no one
 * identifier for it: registry v1.3.1 (aces-aswf/aces, transforms.json).
 */
const OUTPUTS = {
  'aces-2': {
    kind: 'id',
    id: `${REGISTRY}Output.Academy.Rec709-D65_100nit_in_Rec709-D65_BT1886.a2.v1`,
  },
  'aces-1': {
    kind: 'pair',
    rendering: 'urn:ampas:aces:transformId:v1.5:RRT.a1.0.3',
    device: 'urn:ampas:aces:transformId:v1.5:ODT.Academy.Rec709_100nits_dim.a1.0.3',
  },
} as const satisfies Record<string, AmfOutput['by']>;

const inSpace = (space: LogSpace): { to: NamedTransform; from: NamedTransform } => {
  const [to, from] = [registeredIdTo(inputOfSpace(space)), registeredId(inputOfSpace(space))];
  return to !== null && from !== null
    ? { to: { kind: 'id', id: to }, from: { kind: 'id', id: from } }
    : {
        to: { kind: 'file', sha256: spaceFile(space, 'to').sha256 },
        from: { kind: 'file', sha256: spaceFile(space, 'from').sha256 },
      };
};

export function amfLooksOf({ exposure, gamutCompression, cdl, look, output }: ColourWay): AmfLooks {
  const looks: AmfLook[] = [];
  if (exposure !== 0)
    looks.push({
      what: 'exposure',
      stops: exposure,
      by: { kind: 'file', sha256: exposureFile(exposure).sha256 },
      description: `Exposure: ${exposure} stops`,
    });
  if (gamutCompression)
    looks.push({
      what: 'gamut-compression',
      by: { kind: 'id', id: GAMUT_COMPRESSION },
      description: 'Reference gamut compression',
    });
  if (cdl !== null) {
    const { values, space, from } = cdl;
    const source = from === null ? '' : `, ${from.id === null ? '' : `${from.id} of `}${from.file}`;
    looks.push({ what: 'cdl', values, space, ...inSpace(space), description: `CDL in ${space}${source}` });
  }
  const display = endsOnDisplay(look);
  const named = look === null ? '' : `${look.file}, from ${look.from} to ${look.to}`;
  if (look !== null && !display)
    looks.push({
      what: 'look',
      by: { kind: 'file', sha256: look.aces },
      look,
      description: `Look: ${named}`,
    });
  if (output === 'as-recorded') return { looks, output: null };
  if (look !== null && display)
    return {
      looks,
      output: {
        by: { kind: 'file', sha256: look.aces },
        look,
        description: `Look and output transform: ${named}`,
      },
    };
  return {
    looks,
    output: {
      by: OUTPUTS[output],
      look: null,
      description: `Output transform of ACES ${output === 'aces-2' ? '2' : '1'}, ITU-R BT.709 by BT.1886 at 100 cd/m²`,
    },
  };
}

/** The files of the Common LUT Format that these name, by SHA-256; null: the text is with the settings, since it is made of a file of theirs. */
export function filesOfLooks({ looks, output }: AmfLooks): Map<string, string | null> {
  const files = new Map<string, string | null>();
  for (const look of looks) {
    if (look.what === 'exposure') files.set(look.by.sha256, exposureFile(look.stops).text);
    if (look.what === 'look') files.set(look.by.sha256, null);
    if (look.what === 'cdl')
      for (const direction of ['to', 'from'] as const) {
        const { [direction]: by } = look;
        if (by.kind === 'file') files.set(by.sha256, spaceFile(look.space, direction).text);
      }
  }
  if (output?.by.kind === 'file') files.set(output.by.sha256, null);
  return files;
}
