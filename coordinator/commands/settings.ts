/** `rushlight settings`: a file to begin with, from what a day's clips say of themselves, and everything that is wrong with one. */
import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { packageFolder } from '../../files/installation.ts';
import { printable } from '../../files/names.ts';
import { blocks, describeFinding, type Finding, FindingError, finding } from '../../findings/finding.ts';
import { nightFolders } from '../roll/folders.ts';
import { lookAtDay, type SeenDay } from '../roll/look-at-day.ts';
import { toolsOf } from '../roll/prepare.ts';
import { cdlListing } from '../settings/match-cdls.ts';
import { noSettings, readSettings, type Settings } from '../settings/read.ts';
import { clipsToMatch, unmatchedFindings } from '../settings/unmatched.ts';
import { newSettings } from '../settings/write-new.ts';
import { cdlsText } from '../show/cdls-text.ts';
import { printJson, printText } from '../show/output.ts';
import { count, findingsText } from '../show/words.ts';
import { readersApart } from '../survey/reader.ts';
import { listenForInterrupts } from './interrupts.ts';

interface Tools {
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
}

async function seenDay(day: string, settings: Settings, tools: Tools): Promise<SeenDay> {
  const interrupts = listenForInterrupts();
  const clipReaders = readersApart();
  try {
    return await lookAtDay({
      folders: nightFolders({ day, copies: [] }),
      settings,
      tools: await toolsOf(tools),
      clipReaders,
      signal: interrupts.first,
    });
  } finally {
    clipReaders.close();
    interrupts.end();
  }
}

const noRolls = (day: string): FindingError =>
  new FindingError([finding('no-rolls', '0 rolls', 'at least one folder with a roll', { file: day })], 2);

export async function settingsNewCommand(
  options: Tools & { readonly day: string; readonly to: string; readonly json?: boolean },
): Promise<0> {
  const { day, to } = options;
  const { rolls, findings } = await seenDay(day, noSettings, options);
  if (rolls.length === 0) throw noRolls(day);
  const text = newSettings(day, rolls, {
    schema: join(packageFolder, 'docs', 'schemas', 'settings.schema.json'),
    notes: findings.map((item) => {
      const { title, about, found } = describeFinding(item);
      return `${about === '' ? '' : `${about}: `}${title}: ${found}`;
    }),
  });
  try {
    // Never over a file that is there.
    await writeFile(to, text, { flag: 'wx' });
  } catch (error) {
    const code = codeOf(error);
    if (code === '') throw error;
    throw new FindingError(
      [
        code === 'EEXIST'
          ? finding('settings-there', printable(to), 'a name that is free', { file: to })
          : finding('settings-not-written', (error as Error).message, 'a file that can be written', {
              file: to,
            }),
      ],
      code === 'EEXIST' ? 2 : 3,
    );
  }
  const clips = rolls.reduce((sum, roll) => sum + roll.clips.length, 0);
  if (options.json === true)
    printJson({ version: 0, kind: 'settings-new', file: to, rolls: rolls.length, clips });
  else
    printText(
      `wrote  ${printable(to)}, from ${count(clips, 'clip')} of ${count(rolls.length, 'roll')}\nLines that begin with # are for you to decide.`,
    );
  return 0;
}

/** Of all that a look at the day finds: what the settings have to do with. */
const ofSettings = ({ code }: Finding): boolean => /^(?:settings|cdl|look)-/.test(code);

export async function settingsLintCommand(
  options: Tools & { readonly file: string; readonly day?: string; readonly json?: boolean },
): Promise<0 | 1 | 2> {
  let settings: Settings | null = null;
  let findings: Finding[] = [];
  try {
    settings = await readSettings(options.file);
  } catch (error) {
    if (!(error instanceof FindingError)) throw error;
    findings = [...error.findings];
  }
  const isRead = settings !== null;
  let listing: ReturnType<typeof cdlListing> | null = null;
  if (settings !== null && options.day !== undefined) {
    const { rolls, findings: found, settings: ofDay } = await seenDay(options.day, settings, options);
    if (rolls.length === 0) throw noRolls(options.day);
    findings = [...found.filter(ofSettings), ...unmatchedFindings(ofDay.file, rolls)];
    const cdls = ofDay.file.show?.cdls;
    listing = cdls === undefined ? null : cdlListing(cdls, clipsToMatch(rolls));
  }
  const good = !findings.some(blocks);
  if (options.json === true)
    printJson({
      version: 0,
      kind: 'settings-lint',
      file: options.file,
      day: options.day ?? null,
      verdict: good ? 'right' : 'wrong',
      cdls: listing,
      findings,
    });
  else {
    const said = good ? `${printable(options.file)} is valid.` : '';
    printText(
      [said, listing === null ? '' : cdlsText(listing), findings.length === 0 ? '' : findingsText(findings)]
        .filter((text) => text !== '')
        .join('\n\n'),
    );
  }
  return good ? 0 : isRead ? 1 : 2;
}
