/** What a colour way is called: for people, and for text in the picture. Pure. */
import type { Shown } from './schema.ts';

const VERSIONS = { 'aces-1': 'ACES 1', 'aces-2': 'ACES 2' } as const;

/** What is done to scene-linear values, each stage once, in order. */
export function stagesOf({ way, output }: Pick<Shown, 'way' | 'output'>): string[] {
  const { exposure, gamutCompression, cdl, look } = way;
  return [
    ...(exposure === 0 ? [] : [`exposure ${exposure > 0 ? '+' : ''}${exposure}`]),
    ...(gamutCompression ? ['gamut compression'] : []),
    ...(cdl === null ? [] : [`CDL${cdl.from?.id == null ? '' : ` ${cdl.from.id}`}`]),
    ...(look === null ? [] : [`look ${look.file}`]),
    ...(output === null
      ? []
      : ['placed' in output ? `white at ${output.white} cd/m²` : VERSIONS[output.rendering.version]]),
  ];
}

/** null: pictures that stay as recorded. */
export const lookName = (shown: Shown | null): string =>
  shown === null ? 'as recorded' : [...stagesOf(shown), shown.display].join(', ');
