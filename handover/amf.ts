/**
 * The ACES Metadata File of a clip of which proxies alone were made: from the camera's own file to the picture that the editor saw. Nothing of it is
 * applied, since the file that it speaks of is as the camera wrote it. A clip with a master has the one that lies beside that. Pure.
 */
import { createHash } from 'node:crypto';
import { printable } from '../files/names.ts';
import { layout } from '../ledger/layout.ts';
import { inputName } from '../media/colour/input.ts';
import { type AmfOutcome, amfOf } from '../profiles/master/amf.ts';
import { amfDocument, type AmfSays } from '../profiles/master/amf-text.ts';
import { filesOfLooks } from '../profiles/master/amf-looks.ts';
import type { Linearisation } from '../profiles/master/linearisation.ts';
import type { Shown } from '../profiles/shown/schema.ts';
import type { DayClip } from './day.ts';

/** `made`: by us, for the handover. `beside`: of a master. */
export type ClipAmf =
  | { readonly kind: 'made'; readonly amf: AmfOutcome; readonly shown: Shown }
  | { readonly kind: 'beside'; readonly path: string; readonly uuid: string }
  | { readonly kind: 'none'; readonly why: string };

/** As settings and tags say it of recorded pictures; as they were developed, of raw ones. */
export function linearisationOf(shown: Shown): Linearisation {
  if (shown.from === 'developed') return shown.linearisation;
  const { input, matrix, range, siting } = shown;
  return {
    kind: 'coded',
    input,
    pixelFormat: 'as recorded',
    matrix,
    range,
    siting,
    declared: null,
    reader: null,
  };
}

export function amfOfClip(clip: DayClip, timeZone: string | null): ClipAmf {
  const published = clip.deliverables.filter(({ file }) => file !== null);
  const beside = published.find(({ amf }) => amf !== null)?.amf;
  if (beside != null) return { kind: 'beside', path: beside.path, uuid: beside.says.uuid };
  const shown = published.find(({ shownBy }) => shownBy !== null)?.shownBy ?? null;
  if (shown === null) return { kind: 'none', why: 'shown as recorded: no transform is known' };
  const amf = amfOf({
    stem: clip.id,
    clipName: clip.name,
    contentDigest: clip.source.contentDigest,
    createdAt: clip.recorded?.createdAt ?? null,
    timeZone: timeZone ?? undefined,
    linearisation: linearisationOf(shown),
    holds: 'aces2065-1',
    inputClf: 'where-needed',
    way: shown.way,
    of: 'handover',
  });
  return {
    kind: 'made',
    amf: { ...amf, pipeline: { ...amf.pipeline, input: { ...amf.pipeline.input, applied: false } } },
    shown,
  };
}

/** Of the camera's own files: the movie, the first part of a spanned recording, numbered frames. */
function sourceOf({ source: { place, files } }: DayClip): AmfSays['of'] {
  if (place.kind !== 'sequence') return { file: printable(files[0] ?? '') };
  const { prefix, suffix, padding, first, count } = place;
  return {
    prefix: printable(prefix),
    suffix: printable(suffix),
    digits: padding,
    first,
    last: first + count - 1,
  };
}

/** Where files of transforms are handed over, below `handover`: each once for the day, by its SHA-256. */
export const transformPathOf = (sha256: string): string => `transforms/${sha256.slice(0, 16)}.clf`;

/** Texts of the Common LUT Format that the file names and that are not kept beside the reports, by SHA-256. */
export function lookTexts({ amf }: Extract<ClipAmf, { kind: 'made' }>): Map<string, string> {
  return new Map(
    [...filesOfLooks(amf)].flatMap(([sha256, text]): [string, string][] =>
      text === null ? [] : [[sha256, text]],
    ),
  );
}

/** `clf`: SHA-256 of the file of the input transform; null: the registry of ACES has a name for it. It lies in a folder of the roll in `handover`. */
export function clipAmfText(
  clip: DayClip,
  folder: string,
  made: Extract<ClipAmf, { kind: 'made' }>,
  clf: string | null,
): string {
  const { amf, shown } = made;
  const texts = lookTexts(made);
  const input =
    shown.from === 'developed' && shown.linearisation.kind === 'raw'
      ? 'Raw frames, developed as the DNG specification says; this transform is the matrix from camera values, without demosaic and highlights'
      : `Input ${inputName(shown.from === 'recorded' ? shown.input : (shown.linearisation as Extract<Linearisation, { kind: 'coded' }>).input)}`;
  return amfDocument({
    amf,
    input,
    working: input,
    of: sourceOf(clip),
    clf: clf === null ? null : { name: `../${transformPathOf(clf)}`, sha256: clf },
    placeOf: (sha256) =>
      texts.has(sha256)
        ? `../${transformPathOf(sha256)}`
        : `../../${folder}/${layout.transform(sha256, '.clf')}`,
  });
}

export const sha256OfText = (text: string): string => createHash('sha256').update(text).digest('hex');
