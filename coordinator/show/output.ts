/** Results on stdout: one JSON document, or text for people. */
import type { Finding } from '../../findings/finding.ts';
import { findingsText } from './words.ts';

/** A reader that goes away early (`| head`) ends the reading, not the night. */
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error;
});
process.stderr.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error;
});

export function printJson(
  document: { readonly version: number; readonly kind: string } & Record<string, unknown>,
): void {
  process.stdout.write(`${JSON.stringify(document, null, 2)}\n`);
}

export function printText(text: string): void {
  process.stdout.write(text.endsWith('\n') ? text : `${text}\n`);
}

/** Why a command did not do what it was asked. */
export function printRefusal(findings: readonly Finding[], exitCode: number, json: boolean): void {
  if (json) printJson({ version: 0, kind: 'refusal', exitCode, findings });
  else process.stderr.write(`${findingsText(findings, '', exitCode === 1 ? 'held' : 'error')}\n`);
}

/** Resolves when everything written has left this process: exiting earlier cuts what goes into a pipe. */
export async function flushed(): Promise<void> {
  for (const stream of [process.stdout, process.stderr]) {
    if (stream.writableLength > 0 && !stream.destroyed)
      await new Promise<void>((resolve) => stream.write('', () => resolve()));
  }
}
