/** Which folders of a watched one are shoot days. Pure. */
import { HISTORY_FOLDER } from '../../files/manifest/chain.ts';
import { isSystemName } from '../../files/system-files.ts';

/** Of a show, which stands in metrics and in names of files. */
export const isSafeName = (name: string): boolean => /^[A-Za-z0-9][A-Za-z0-9_-]{0,59}$/.test(name);

export const mayBeDay = (name: string): boolean =>
  !name.startsWith('.') && name !== HISTORY_FOLDER && !isSystemName(name);
