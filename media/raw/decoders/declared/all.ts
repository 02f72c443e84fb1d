/** The decoders that somebody declares for a show, from the paths of their files. */
import type { Finding } from '../../../../findings/finding.ts';
import type { RawDecoder } from '../decoder.ts';
import { declaredRawDecoder } from './decode.ts';
import { loadDecoder } from './load.ts';
import type { LoadedDecoder } from './programs.ts';
import { isCfa } from '../../../declaration.ts';

/** Of a show. */
export interface DeclaredDecoders {
  /** Of sensor values: asked behind our own and LibRaw, or alone where the settings name one. */
  readonly raw: readonly RawDecoder[];
  /** Of pictures: their values go through an input transform like those of any log original. */
  readonly pictures: readonly LoadedDecoder[];
}

export async function loadDecoders(
  paths: readonly string[],
): Promise<DeclaredDecoders & { /** Anything here: nothing may run. */ readonly findings: Finding[] }> {
  const loaded = await Promise.all(paths.map(loadDecoder));
  const good = loaded.flatMap((one) => ('decoder' in one ? [one.decoder] : []));
  return {
    raw: good.filter(({ declared: { gives } }) => isCfa(gives.samples)).map(declaredRawDecoder),
    pictures: good.filter(({ declared: { gives } }) => !isCfa(gives.samples)),
    findings: loaded.flatMap((one) => ('findings' in one ? one.findings : [])),
  };
}
