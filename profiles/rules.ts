/** What cannot stand together in a profile, whatever the clip. Each rule says where, what was found, and what would do. */
import { audioContainers, audioTraitsByFormat, traitsOf } from './codecs.ts';
import { misfit } from '../media/colour/output/displays.ts';
import { isHighRange, renderingFor } from './shown/display.ts';
import { burnInFace } from '../proof/text/burn-in-font.ts';
import { charactersText, unwritable } from './outcome/letters.ts';
import {
  type CheckName,
  drawsText,
  losslessCheck,
  lossyCheck,
  type Profile,
  mandatoryChecks,
  textCheck,
} from './schema.ts';

export interface Impossible {
  readonly code: 'profile-combination' | 'profile-check-left-out';
  readonly path: readonly (string | number)[];
  readonly found: string;
  readonly expected: string;
}

type Rule = (profile: Profile) => Impossible[];

const no = (path: Impossible['path'], found: string, expected: string): Impossible => ({
  code: 'profile-combination',
  path,
  found,
  expected,
});

/** `vc3 lb`, `h264`: for messages. */
const codecName = (video: Profile['video']): string =>
  video.codec === 'vc3' || video.codec === 'rdd36' ? `${video.codec} ${video.quality}` : video.codec;

const container: Rule = ({ container: form, video, audio, reel }) => {
  const out: Impossible[] = [];
  const picture = traitsOf(video).containers;
  if (!picture.includes(form)) out.push(no(['container'], `${form} with ${video.codec}`, picture.join(', ')));
  const carriers = audioContainers(audio.format);
  if ((audio.tracks !== 'none' || audio.production_sound !== undefined) && !carriers.includes(form))
    out.push(
      no(
        ['audio', 'format'],
        `${audio.format} in ${form}`,
        form === 'mp4' ? 'aac' : `a container of: ${carriers.join(', ')}`,
      ),
    );
  if (form === 'mp4' && reel !== 'none')
    out.push(no(['reel'], `${reel} in mp4, which has no place for a reel name`, 'none'));
  return out;
};

const pixels: Rule = ({ video, pixels: asked }) => {
  const wanted = traitsOf(video).pixels;
  return asked === wanted ? [] : [no(['pixels'], `${asked} with ${codecName(video)}`, wanted)];
};

const raster: Rule = ({
  raster: { policy, width, height, multiple_of: multiple, enlarge },
  pixels: asked,
  video,
  colour,
}) => {
  const out: Impossible[] = [];
  if (policy === 'native' || policy === 'coded') {
    if (width !== null)
      out.push(no(['raster', 'width'], `${width} with ${policy}`, 'null, or another policy'));
    if (height !== null)
      out.push(no(['raster', 'height'], `${height} with ${policy}`, 'null, or another policy'));
  } else {
    if (width === null) out.push(no(['raster', 'width'], `null with ${policy}`, 'a number of pixels'));
    if ((policy === 'fill' || policy === 'pad') && height === null)
      out.push(no(['raster', 'height'], `null with ${policy}`, 'a number of pixels'));
    if (policy === 'fill' && !enlarge)
      out.push(no(['raster', 'enlarge'], 'false with fill, which always gives its full size', 'true'));
  }
  // Its edges lie between chroma samples; and which code black is, is known beforehand.
  if (policy === 'pad' && multiple % 2 !== 0)
    out.push(no(['raster', 'multiple_of'], `${multiple} with pad`, '2, 4, 8 or 16'));
  if (policy === 'pad' && colour.range !== 'limited')
    out.push(no(['colour', 'range'], `${colour.range} with pad`, 'limited'));
  const sides = { width, height };
  for (const side of ['width', 'height'] as const) {
    const size = sides[side];
    const least = traitsOf(video).smallest[side];
    if (size !== null && size % multiple !== 0)
      out.push(
        no(
          ['raster', side],
          `${size}, no multiple of ${multiple}`,
          `${size - (size % multiple)} or ${size - (size % multiple) + multiple}`,
        ),
      );
    if (size !== null && size < least)
      out.push(no(['raster', side], `${size} with ${video.codec}`, `${least} or more`));
  }
  // ITU-T H.264 and H.265: a 4:2:0 picture has one chroma sample for two by two pixels.
  if ((asked === '4:2:0 8-bit' || asked === '4:2:0 10-bit') && multiple % 2 !== 0)
    out.push(no(['raster', 'multiple_of'], `${multiple} with ${asked}`, '2, 4, 8 or 16'));
  return out;
};

const range: Rule = ({ colour, video }) =>
  colour.range === 'full' && !traitsOf(video).carriesFullRange
    ? [no(['colour', 'range'], `full with ${video.codec}`, 'limited, or source')]
    : [];

/** ITU-R BT.2100: 10 or 12 bits. An output transform that there is: of ACES 2 all of them; which of ACES 1, the settings decide. */
const display: Rule = ({ display: asked, pixels: depth }) => {
  if (asked === undefined) return [];
  const out: Impossible[] = [];
  const { encoding } = asked;
  if (isHighRange(encoding) && / 8-bit$/.test(depth))
    out.push(no(['display', 'encoding'], `${encoding} with ${depth}`, 'pixels of 10 bits, or bt1886-bt709'));
  const refused = misfit({ version: 'aces-2', ...renderingFor(asked) }, encoding);
  if (refused !== null) {
    const { peak, limiting } = renderingFor(asked);
    out.push(no(['display'], `a peak of ${peak} cd/m², limited to ${limiting}`, refused));
  }
  return out;
};

const audioRate: Rule = ({ audio }) => {
  const rates = audio.format === 'source' ? null : audioTraitsByFormat[audio.format].rates;
  return audio.rate !== 'source' && rates !== null && !rates.includes(audio.rate)
    ? [no(['audio', 'rate'], `${audio.rate} with ${audio.format}`, rates.join(', '))]
    : [];
};

/** A copy of the clip is a copy of nothing else. */
const production: Rule = ({ video, audio }) =>
  audio.production_sound === undefined || !traitsOf(video).lossless
    ? []
    : [
        no(
          ['audio', 'production_sound'],
          `with ${codecName(video)}, which keeps the clip as it is`,
          'another codec, or none',
        ),
      ];

/** Fields that a lossless codec leaves no choice, since anything else would change a sample; their values are for such a codec alone. */
const keeping: readonly [
  path: readonly string[],
  value: string | number | null,
  only: boolean,
  of: (profile: Profile) => unknown,
][] = [
  [['pixels'], 'source', true, (profile) => profile.pixels],
  [['raster', 'policy'], 'coded', true, (profile) => profile.raster.policy],
  [['raster', 'multiple_of'], 1, false, (profile) => profile.raster.multiple_of],
  [['interlaced'], 'keep', true, (profile) => profile.interlaced],
  [['colour', 'primaries'], 'source', false, (profile) => profile.colour.primaries],
  [['colour', 'transfer'], 'source', false, (profile) => profile.colour.transfer],
  [['colour', 'matrix'], 'source', false, (profile) => profile.colour.matrix],
  [['colour', 'range'], 'source', false, (profile) => profile.colour.range],
  [['colour', 'untagged'], 'keep', true, (profile) => profile.colour.untagged],
  [['audio', 'format'], 'source', true, (profile) => profile.audio.format],
  [['audio', 'rate'], 'source', false, (profile) => profile.audio.rate],
  [['audio', 'tolerance_frames'], 'keep', true, (profile) => profile.audio.tolerance_frames],
  [['audio', 'offset'], 'hold', false, (profile) => profile.audio.offset],
  [['picture_error', 'regions'], 'none', true, (profile) => profile.picture_error.regions],
  [['picture_error', 'least_psnr'], null, true, (profile) => profile.picture_error.least_psnr],
];

const lossless: Rule = (profile) => {
  const { codec } = profile.video;
  if (traitsOf(profile.video).lossless) {
    const changed = keeping.flatMap(([path, value, , of]) =>
      of(profile) === value ? [] : [no(path, `${of(profile)} with ${codec}`, String(value))],
    );
    return [
      ...changed,
      ...(profile.burn_in.length === 0 ? [] : [no(['burn_in'], `text in the picture with ${codec}`, '[]')]),
      ...(profile.watermark === undefined
        ? []
        : [no(['watermark'], `a watermark with ${codec}`, 'no such field')]),
    ];
  }
  return keeping.flatMap(([path, value, only, of]) =>
    only && of(profile) === value
      ? [no(path, `${value} with ${codec}`, 'another value, or the codec ffv1')]
      : [],
  );
};

const placeholders = ['clip', 'roll', 'reel', 'day', 'profile', 'timecode'] as const;

export const fileName = ({ file_name: template }: Pick<Profile, 'file_name'>): Impossible[] => {
  const out: Impossible[] = [];
  const names = [...template.matchAll(/\{([^{}]*)\}/g)].map((match) => match[1] as string);
  const unknown = names.filter((name) => !(placeholders as readonly string[]).includes(name));
  if (unknown.length > 0)
    out.push(no(['file_name'], `{${unknown.join('}, {')}}`, `{${placeholders.join('}, {')}}`));
  if (!names.includes('clip'))
    out.push(
      no(
        ['file_name'],
        `${JSON.stringify(template)} gives every clip the same name`,
        '{clip} somewhere in it',
      ),
    );
  const plain = template.replace(/\{[^{}]*\}/g, '');
  // biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what is looked for.
  const refused = plain.match(/[<>:"/\\|?*{}\u0000-\u001f\u007f]/);
  if (refused !== null)
    out.push(
      no(
        ['file_name'],
        JSON.stringify(refused[0]),
        'none of < > : " / \\ | ? * and no brace outside a placeholder',
      ),
    );
  return out;
};

/** Words that a profile states, where they cannot be written. */
function writes(path: Impossible['path'], words: string | null | undefined): Impossible[] {
  if (words == null) return [];
  if (words.trim() === '') return [no(path, 'blanks alone', 'words')];
  const unknown = unwritable(words, burnInFace());
  return unknown.length === 0
    ? []
    : [
        no(
          path,
          `characters that the font of burnt-in text cannot write: ${charactersText(unknown)}`,
          'Latin, Greek or Cyrillic letters in one line; names in other scripts, and letters with two marks, spelled in those',
        ),
      ];
}

const burnIn: Rule = ({ burn_in: texts, watermark }) => [
  ...texts.flatMap(({ text, words }, index) => {
    const path = ['burn_in', index, 'words'];
    if ((text === 'words') !== (words !== undefined))
      return [
        text === 'words'
          ? no(path, 'no words, with text: words', 'the words that are written')
          : no(path, `words, with text: ${text}`, 'text: words, or no words'),
      ];
    return writes(path, words);
  }),
  ...writes(['watermark', 'words'], watermark?.words),
];

const checks: Rule = (profile) => {
  const { checks: asked, reel, video } = profile;
  const keeps = traitsOf(video).lossless;
  const mandatory: CheckName[] = [
    ...mandatoryChecks,
    keeps ? losslessCheck : lossyCheck,
    ...(drawsText(profile) ? [textCheck] : []),
  ];
  const out: Impossible[] = mandatory
    .filter((check) => !asked.includes(check))
    .map((check) => ({
      code: 'profile-check-left-out',
      path: ['checks'],
      found: `no ${check}`,
      expected: `all of: ${mandatory.join(', ')}`,
    }));
  if (new Set(asked).size !== asked.length) out.push(no(['checks'], 'a check twice', 'every check once'));
  if (!keeps && asked.includes(losslessCheck))
    out.push(
      no(
        ['checks'],
        `${losslessCheck}, with ${video.codec}, which loses something`,
        'ffv1, or no such check',
      ),
    );
  if (keeps && asked.includes(lossyCheck))
    out.push(no(['checks'], `${lossyCheck}, with ${video.codec}, which loses nothing`, losslessCheck));
  if (asked.includes('reel') && reel === 'none')
    out.push(no(['checks'], 'reel, with a reel of none', 'a reel that is written, or no such check'));
  return out;
};

/** The folder `reports` of a roll holds the reports. */
export const reservedName = (profile: Pick<Profile, 'name'>): Impossible[] =>
  profile.name === 'reports'
    ? [no(['name'], 'reports, which is the folder of the reports', 'another name')]
    : [];

export function impossibleCombinations(profile: Profile): Impossible[] {
  return [
    reservedName,
    container,
    pixels,
    raster,
    lossless,
    range,
    display,
    audioRate,
    production,
    fileName,
    burnIn,
    checks,
  ].flatMap((rule) => rule(profile));
}
