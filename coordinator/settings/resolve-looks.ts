/** Reads the looks and CDLs that the settings name: every file once, each slip with the line of the settings that names the file. */
import { createHash } from 'node:crypto';
import { readdir, readFile, stat } from 'node:fs/promises';
import { basename, extname, join, resolve } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { findingAt, type Path } from '../../files/document.ts';
import { type Finding, FindingError } from '../../findings/finding.ts';
import { cdlsOf, isCdlFile } from '../../media/colour/cdl-file.ts';
import type { ListedCdl } from '../../media/colour/cdl-listed.ts';
import { ColourFileError } from '../../media/colour/refuse.ts';
import type { Step } from '../../media/colour/steps.ts';
import type { LogSpace, WayCdl, WayLook } from '../../media/colour/way.ts';
import { lookFile, stepsOfLook } from '../../media/colour/way-files.ts';
import { plainCdl } from './look-schema.ts';
import type { CdlList, CdlOfList } from './match-cdls.ts';
import type { TransformFile } from './transform-file.ts';
import type { SettingsFile, SettingsRoll, WithLooks, WrittenPart, WrittenSettings } from './schema.ts';

type Locate = (where: Path) => Parameters<typeof findingAt>[1];

/** Corrections of a whole show are some megabytes, a table of 129 places a side some 60. */
const LARGEST_CDL = 16 * 1024 * 1024;
const LARGEST_LOOK = 256 * 1024 * 1024;
const USUAL_SPACE: LogSpace = 'acescct';

export interface ResolvedLooks {
  readonly file: SettingsFile;
  readonly transforms: readonly TransformFile[];
  readonly findings: readonly Finding[];
}

async function bytesOf(path: string, most: number): Promise<Buffer> {
  let size: number;
  try {
    const found = await stat(path);
    if (!found.isFile()) throw new ColourFileError('no file', 'a file');
    ({ size } = found);
    if (size <= most) return await readFile(path);
  } catch (error) {
    const code = codeOf(error);
    if (code === '') throw error;
    throw new ColourFileError(code === 'ENOENT' ? 'no such file' : code, 'a file that can be read');
  }
  throw new ColourFileError(`${size} bytes`, `at most ${most} bytes`);
}

const sha256Of = (bytes: Buffer): string => createHash('sha256').update(bytes).digest('hex');

/** Where a .cube file's table begins and ends: log codes lie about 0 to 1, and a longer range is one of linear values. */
const LONGEST_DOMAIN = 2;
function isLinearDomain(steps: readonly Step[]): boolean {
  const [first] = steps;
  const ends =
    first?.kind === 'table1' && first.domain !== 'half'
      ? first.domain
      : first?.kind === 'table3'
        ? first
        : null;
  return ends !== null && [...ends.low, ...ends.high].some((value) => Math.abs(value) > LONGEST_DOMAIN);
}

class Reading {
  readonly findings: Finding[] = [];
  readonly transforms = new Map<string, TransformFile>();
  private readonly cdlFiles = new Map<
    string,
    Promise<{ readonly list: ListedCdl[]; readonly sha256: string }>
  >();
  private readonly looks = new Map<string, Promise<WayLook>>();
  private readonly folder: string;
  private readonly at: Locate;
  constructor(folder: string, at: Locate) {
    this.folder = folder;
    this.at = at;
  }

  private refuse(code: 'cdl-refused' | 'look-refused', where: Path, name: string, error: unknown): void {
    if (error instanceof FindingError) {
      const [item] = error.findings;
      this.findings.push(
        findingAt(code, this.at(where), `${name}: ${item?.found ?? ''}`, item?.expected ?? ''),
      );
    } else if (error instanceof ColourFileError)
      this.findings.push(findingAt(code, this.at(where), `${name}: ${error.found}`, error.expected));
    else throw error;
  }

  private cdlFile(path: string): Promise<{ readonly list: ListedCdl[]; readonly sha256: string }> {
    const known = this.cdlFiles.get(path);
    if (known !== undefined) return known;
    const read = bytesOf(path, LARGEST_CDL).then((bytes) => ({
      list: cdlsOf(basename(path), bytes),
      sha256: sha256Of(bytes),
    }));
    this.cdlFiles.set(path, read);
    return read;
  }

  async cdl(
    { file, id, space = USUAL_SPACE, ...numbers }: Exclude<WrittenPart['cdl'], 'none' | undefined>,
    where: Path,
  ): Promise<WayCdl | null> {
    if (file === undefined) {
      const { slope, offset, power, saturation } = numbers;
      return {
        values: {
          slope: slope ?? [...plainCdl.slope],
          offset: offset ?? [...plainCdl.offset],
          power: power ?? [...plainCdl.power],
          saturation: saturation ?? plainCdl.saturation,
        },
        space,
        from: null,
      };
    }
    try {
      const { list, sha256 } = await this.cdlFile(resolve(this.folder, file));
      const ids = list.flatMap((one) => one.id ?? []);
      const found = id === undefined ? list : list.filter((one) => one.id === id);
      const [one] = found;
      if (one === undefined || (found.length > 1 && id === undefined)) {
        this.findings.push(
          findingAt(
            'cdl-refused',
            this.at([...where, ...(id === undefined ? [] : ['id'])]),
            id === undefined
              ? `${file}: ${list.length} corrections, and no id`
              : `${file}: no correction ${id}`,
            ids.length === 0
              ? 'a file with one correction: none of these has an id'
              : `an id of the file: ${ids.slice(0, 20).join(', ')}${ids.length > 20 ? ', …' : ''}`,
          ),
        );
        return null;
      }
      return { values: one.values, space, from: { file: basename(file), sha256, id: one.id } };
    } catch (error) {
      this.refuse('cdl-refused', [...where, 'file'], file, error);
      return null;
    }
  }

  async look(
    { file, from, to, interpolation }: Exclude<WrittenPart['look'], 'none' | undefined>,
    where: Path,
  ): Promise<WayLook | null> {
    const path = resolve(this.folder, file);
    const isCube = /\.cube$/i.test(file);
    // Tetrahedral is what grading rooms take .cube files for (common practice, no source); a .clf file says it itself.
    const read = isCube ? (interpolation ?? 'tetrahedral') : null;
    const key = JSON.stringify([path, from, to, read]);
    const making = this.looks.get(key) ?? this.readLook({ path, from, to, interpolation: read });
    this.looks.set(key, making);
    try {
      return await making;
    } catch (error) {
      this.refuse('look-refused', [...where, 'file'], file, error);
      return null;
    }
  }

  private async readLook({
    path,
    ...look
  }: Pick<WayLook, 'from' | 'to' | 'interpolation'> & { readonly path: string }): Promise<WayLook> {
    const bytes = await bytesOf(path, LARGEST_LOOK);
    const source = { ...look, file: basename(path), bytes };
    if (/\.cube$/i.test(path) && isLinearDomain(stepsOfLook(source)))
      throw new ColourFileError(
        'a table for linear values, by its domain',
        `a domain of log codes, about 0 to 1 and not beyond ${LONGEST_DOMAIN}; for linear values a .clf file`,
      );
    const aces = lookFile(source);
    const sha256 = sha256Of(bytes);
    this.transforms.set(sha256, {
      path,
      sha256,
      extension: extname(path).toLowerCase(),
      text: bytes.toString('utf8'),
    });
    this.transforms.set(aces.sha256, { path, sha256: aces.sha256, extension: '.clf', text: aces.text });
    return {
      file: basename(path),
      sha256,
      ...look,
      aces: aces.sha256,
    };
  }

  async cdls(
    { path, space = USUAL_SPACE }: NonNullable<NonNullable<WrittenSettings['show']>['cdls']>,
    where: Path,
  ): Promise<CdlList> {
    const top = resolve(this.folder, path);
    const entries: CdlOfList[] = [];
    try {
      const isFolder = await stat(top).then(
        (found) => found.isDirectory(),
        () => false,
      );
      const files = isFolder
        ? (await readdir(top)).filter((name) => isCdlFile(name) && !name.startsWith('.')).sort()
        : [basename(top)];
      if (files.length === 0 || (!isFolder && !isCdlFile(top)))
        throw new ColourFileError(
          isFolder ? 'a folder without CDLs' : 'a file of another kind',
          '.cdl, .cc, .ccc or .edl files',
        );
      for (const name of files)
        try {
          const { list, sha256 } = await this.cdlFile(isFolder ? join(top, name) : top);
          entries.push(...list.map((one) => ({ ...one, file: name, sha256 })));
        } catch (error) {
          this.refuse('cdl-refused', [...where, 'path'], isFolder ? join(path, name) : path, error);
        }
    } catch (error) {
      this.refuse('cdl-refused', [...where, 'path'], path, error);
    }
    return { path, space, entries };
  }

  async part<Part extends Pick<WrittenPart, 'cdl' | 'look'>>(
    { cdl, look, ...rest }: Part,
    where: Path,
  ): Promise<WithLooks<Part>> {
    const readCdl = cdl === undefined || cdl === 'none' ? cdl : await this.cdl(cdl, [...where, 'cdl']);
    const readLook = look === undefined || look === 'none' ? look : await this.look(look, [...where, 'look']);
    return {
      ...rest,
      ...(readCdl === undefined || readCdl === null ? {} : { cdl: readCdl }),
      ...(readLook === undefined || readLook === null ? {} : { look: readLook }),
    };
  }
}

/** What could not be read is left out, and has its finding: such settings are refused whole. */
export async function resolveLooks(
  { show, cameras, rolls, ...rest }: WrittenSettings,
  folder: string,
  at: Locate,
): Promise<ResolvedLooks> {
  const reading = new Reading(folder, at);
  const clipsOf = async (
    clips: Readonly<Record<string, WrittenPart>>,
    where: Path,
  ): Promise<NonNullable<SettingsRoll['clips']>> =>
    Object.fromEntries(
      await inTurn(
        Object.entries(clips),
        async ([name, part]) => [name, await reading.part(part, [...where, name])] as const,
      ),
    );
  const showOf = async ({
    cdls,
    ...part
  }: NonNullable<WrittenSettings['show']>): Promise<NonNullable<SettingsFile['show']>> => ({
    ...(await reading.part(part, ['show'])),
    ...(cdls === undefined ? {} : { cdls: await reading.cdls(cdls, ['show', 'cdls']) }),
  });
  const rollOf = async (
    name: string,
    { clips, ...part }: NonNullable<WrittenSettings['rolls']>[string],
  ): Promise<SettingsRoll> => ({
    ...(await reading.part(part, ['rolls', name])),
    ...(clips === undefined ? {} : { clips: await clipsOf(clips, ['rolls', name, 'clips']) }),
  });
  const resolved: SettingsFile = {
    ...rest,
    ...(show === undefined ? {} : { show: await showOf(show) }),
    ...(cameras === undefined
      ? {}
      : {
          cameras: await inTurn(cameras, async (camera, index) => reading.part(camera, ['cameras', index])),
        }),
    ...(rolls === undefined
      ? {}
      : {
          rolls: Object.fromEntries(
            await inTurn(
              Object.entries(rolls),
              async ([name, roll]) => [name, await rollOf(name, roll)] as const,
            ),
          ),
        }),
  };
  return { file: resolved, transforms: [...reading.transforms.values()], findings: reading.findings };
}

/** One after the other, so that findings come in the order of the file. */
async function inTurn<Item, Made>(
  items: readonly Item[],
  make: (item: Item, index: number) => Promise<Made>,
): Promise<Made[]> {
  const made: Made[] = [];
  for (const [index, item] of items.entries()) made.push(await make(item, index));
  return made;
}
