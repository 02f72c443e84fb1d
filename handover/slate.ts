/** What a slate says, where a clip's own tags have it. Pure. */

export interface Slate {
  readonly scene: string | null;
  readonly take: string | null;
}

/** The last part of the tag's name counts: makers put their own in front of it, with dots or colons between. */
function said(metadata: Readonly<Record<string, string>>, what: string): string | null {
  for (const [key, value] of Object.entries(metadata)) {
    const last = key.split(/[.:/]/).at(-1) ?? '';
    if (last.toLowerCase() === what && value.trim() !== '') return value.trim();
  }
  return null;
}

export const slateOf = (metadata: Readonly<Record<string, string>>): Slate => ({
  scene: said(metadata, 'scene'),
  take: said(metadata, 'take'),
});
