/** How a clip's pictures are to look, by the levels of the settings and the CDLs of the show, and who stated each part. Pure. */
import type { AppliedSetting, SettingOrigin } from '../../ledger/applied-settings.ts';
import { type Finding, finding } from '../../findings/finding.ts';
import {
  changesPictures,
  type ColourWay,
  usualWay,
  type WayCdl,
  type WayLook,
} from '../../media/colour/way.ts';
import { type Level, nearest } from './levels.ts';
import { type CdlList, cdlOfMatch, cdlPlace, type ClipToMatch, matchCdl } from './match-cdls.ts';

export interface WayOfClip {
  /** null: nobody says anything of it. */
  readonly way: ColourWay | null;
  readonly applied: readonly AppliedSetting[];
  readonly findings: readonly Finding[];
}

interface Said<Value> {
  readonly value: Value;
  readonly from: SettingOrigin;
  /** Beside the value, for people. */
  readonly by?: string;
}

const said = <Value>(
  levels: readonly Level[],
  of: (part: Level['part']) => Value | undefined,
  otherwise: Value,
): Said<Value> => {
  const found = nearest(levels, of);
  return found === null ? { value: otherwise, from: 'nobody' } : { value: found.value, from: found.said };
};

/** `none` is said as well as a look is. */
const given = <Value>({ value, ...rest }: Said<Value | 'none' | null>): Said<Value | null> => ({
  ...rest,
  value: value === 'none' ? null : value,
});

const three = (values: readonly number[]): string => values.join(' ');
function cdlText({ values: { slope, offset, power, saturation }, space, from }: WayCdl): string {
  const source = from === null ? '' : `${from.id === null ? '' : `${from.id} of `}${from.file}: `;
  return `${source}slope ${three(slope)}, offset ${three(offset)}, power ${three(power)}, saturation ${saturation}, in ${space}`;
}
const lookText = ({ file, from, to }: WayLook): string => `${file}, from ${from} to ${to}`;

/** The clip's own word, then the CDL that is matched to it, then what farther levels say. */
function cdlOf(
  levels: readonly Level[],
  list: CdlList | undefined,
  clip: ClipToMatch,
): { readonly cdl: Said<WayCdl | null>; readonly findings: readonly Finding[] } {
  const own = said(
    levels.filter((level) => level.said === 'clip'),
    (part) => part.cdl,
    null,
  );
  const match = list === undefined || own.from !== 'nobody' ? null : matchCdl(list, clip);
  if (list === undefined || match === null)
    return { cdl: given(said(levels, (part) => part.cdl, null)), findings: [] };
  const value = cdlOfMatch(list, match);
  const places = match.entries.flatMap((index) => {
    const entry = list.entries[index];
    return entry === undefined ? [] : [cdlPlace(entry)];
  });
  return {
    cdl: { value, from: 'cdls', by: `by ${match.rule}` },
    findings:
      value === null
        ? [
            finding(
              'cdl-ambiguous',
              `${places.join('; ')}, by ${match.rule}${match.isShared ? ', which clips of other rolls have too' : ''}`,
              match.isShared
                ? 'the roll before the name, as in <roll>/<clip>, or a timecode'
                : 'CDLs of the same numbers, or one alone',
            ),
          ]
        : [],
  };
}

export function wayOfClip(levels: readonly Level[], list: CdlList | undefined, clip: ClipToMatch): WayOfClip {
  const exposure = said(levels, (part) => part.exposure, usualWay.exposure);
  const compression = said(levels, (part) => part.gamut_compression, usualWay.gamutCompression);
  const { cdl, findings } = cdlOf(levels, list, clip);
  const look = given(said(levels, (part) => part.look, null));
  const output = said(levels, (part) => part.output, usualWay.output);
  const way: ColourWay = {
    exposure: exposure.value,
    gamutCompression: compression.value,
    cdl: cdl.value,
    look: look.value,
    output: output.value,
  };
  const parts: readonly (readonly [string, Said<unknown>, string])[] = [
    ['exposure', exposure, `${exposure.value} stops`],
    ['gamut_compression', compression, String(compression.value)],
    ['cdl', cdl, cdl.value === null ? 'none' : cdlText(cdl.value)],
    ['look', look, look.value === null ? 'none' : lookText(look.value)],
    ['output', output, output.value],
  ];
  if (parts.every(([, { from }]) => from === 'nobody')) return { way: null, applied: [], findings };
  const shown = way.output === 'as-recorded' && changesPictures(way);
  return {
    way,
    applied: parts
      .filter(([setting, { from }]) => from !== 'nobody' || setting === 'output')
      .map(([setting, { from, by }, value]) => ({
        setting,
        value: by === undefined ? value : `${value}, ${by}`,
        from,
      })),
    findings: shown
      ? [
          ...findings,
          finding(
            'look-not-shown',
            `output as-recorded ${origin(output)}, and ${parts
              .filter(([setting, { from }]) => from !== 'nobody' && setting !== 'output')
              .map(([setting, { from }]) => `${setting} ${origin({ from })}`)
              .join(', ')}`,
            'pictures as they were recorded, or a look',
          ),
        ]
      : findings,
  };
}

const origin = ({ from }: Pick<Said<unknown>, 'from'>): string =>
  from === 'cdls' ? 'by the CDLs of the show' : `by the ${from}`;
