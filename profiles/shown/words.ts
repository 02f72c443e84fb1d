/** The colour way of a movie's pictures, in words for people. Pure. */
import { inputName } from '../../media/colour/input.ts';
import type { Outcome } from '../outcome.ts';
import { stagesOf } from './name.ts';
import type { Shown } from './schema.ts';

function sourceText(shown: Shown): string {
  if (shown.from === 'recorded') return inputName(shown.input);
  const { linearisation } = shown;
  return linearisation.kind === 'raw'
    ? `raw frames, developed (${linearisation.demosaic})`
    : inputName(linearisation.input);
}

export function wayText({ shown }: Pick<Outcome, 'shown'>): string {
  if (shown === null) return 'as recorded';
  return `${[`from ${sourceText(shown)}`, ...stagesOf(shown)].join(', ')}, for ${shown.display}`;
}
