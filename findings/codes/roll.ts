/** Codes of a roll, its copies and its manifests (verification). */
import type { CodeEntry } from '../entry.ts';

const COPY_AGAIN = 'Copy the file again from the card or from a copy that is verified';

export const rollCodes = {
  'manifest-missing': {
    weight: 'hold',
    title: 'the roll has no manifest',
    remedy:
      'Put the manifest of the offload into the roll, or name its folder with --manifests. If there is none, make one from the card while it is mounted: `rushlight manifest <roll> --to <folder>`, then pass that folder with --manifests. A manifest made from a copy only shows that nothing has changed since; it does not compare with the card. At the top of the shoot day, of a copy or of a --manifests folder, a manifest counts when it is named after the roll, is in a folder named after it, or has paths that begin with its name.',
  },
  'manifest-unreadable': {
    weight: 'hold',
    title: 'a manifest cannot be read',
    remedy:
      'Fetch the manifest again from the copy that was made first, or from another copy. Do not edit it.',
  },
  'roll-empty': {
    weight: 'hold',
    title: 'the roll has no clip and no sound recording',
    remedy:
      'Compare the roll with the card. If it was meant to be empty, move its folder out of the shoot day: every roll of a day has clips, or recordings of sound.',
  },
  'manifest-line-malformed': {
    weight: 'hold',
    title: 'an entry of a manifest cannot be understood',
    remedy:
      'Compare the manifest with the one on another copy, and fetch an undamaged one or make a new one. Do not repair it by editing.',
  },
  'manifest-algorithm-unknown': {
    weight: 'hold',
    title: 'a manifest has a kind of checksum that cannot be computed here',
    remedy:
      'Name the file after its algorithm (for example checksums.xxh128), or make a manifest with one of the kinds that are read.',
  },
  'manifest-path-outside': {
    weight: 'hold',
    title: 'a manifest names a path outside its roll',
    remedy:
      'Fetch the manifest again from another copy, and ask who made it. This one is broken or was tampered with.',
  },
  'manifest-path-absolute': {
    weight: 'hold',
    title: 'a manifest names files by absolute paths of the machine that made it',
    remedy:
      'Run the checksum program again in the folder above the roll, with the name of the roll instead of its absolute path. Move the old list out of the roll and keep it.',
  },
  'manifest-path-separators': {
    weight: 'note',
    title: 'a manifest writes its paths with backslashes, as programs on Windows do',
    remedy: 'Do nothing: the files were found and compared under the same paths with slashes.',
  },
  'manifest-not-used': {
    weight: 'note',
    title: 'a file where manifests are looked for is not used',
    remedy:
      'Name it after the roll (`A001.md5`), put it into the roll, or make a list whose paths begin with the name of the roll, if it should count. Replace a link by the file itself. If it should not count, do nothing.',
  },
  'manifest-entries-outside-rolls': {
    weight: 'note',
    title: 'a manifest of the day lists files that are in none of its rolls',
    remedy:
      'Compare these files with the checksum program that wrote the list, if they matter. They were not read.',
  },
  'roll-only-in-manifest': {
    weight: 'hold',
    title: 'a manifest of the day lists a roll that the shoot day lacks',
    remedy:
      'Copy the roll to the shoot day from its card or from another copy, and run again. If it belongs elsewhere, make a manifest of the day without it.',
  },
  'manifest-too-large': {
    weight: 'hold',
    title: 'a manifest is larger than the limit',
    remedy:
      'Make a list for each roll instead of one for all, or leave the files of other days out of it. Nothing of this one was read.',
  },
  'manifest-contradiction': {
    weight: 'hold',
    title: 'manifests of one roll disagree about a file',
    remedy:
      'Find out which manifest was made from the card. Move the other one to a folder outside the shoot day and its copies, and keep it. Do not take a generation out of a history.',
  },
  'manifest-chain-broken': {
    weight: 'hold',
    title: "the history of a roll's manifests is not complete",
    remedy:
      'Fetch the whole history folder again from the copy that was made first. A manifest that was changed or taken out after it was recorded proves nothing.',
  },
  'manifest-failure': {
    weight: 'hold',
    title: 'a history records a file as bad when it was last checked',
    remedy: `${COPY_AGAIN}, and check it again with the program that writes the history. Find out which copy was checked then: that one was bad. Do not reformat the card.`,
  },
  'manifest-failure-settled': {
    weight: 'note',
    title: 'a history records a file as bad, and later as good',
    remedy:
      'Check that the file was copied again in between. If this happens often on one drive, stop using that drive.',
  },
  'manifest-superseded': {
    weight: 'note',
    title: 'a newer generation states another checksum of a file than an older one',
    remedy:
      'Ask who made that generation whether the file was changed on purpose after the card was copied. The newest generation counts.',
  },
  'findings-more': {
    weight: 'note',
    title: 'there are more findings of one kind than are listed',
    remedy:
      'Remove the cause of those that are listed, and check again: the rest is listed then. The same remedy is for all of them.',
  },
  'roll-file-absent': {
    weight: 'hold',
    title: 'a file that the manifest lists is missing',
    remedy: `${COPY_AGAIN}. Do not reformat the card.`,
  },
  'roll-file-size-differs': {
    weight: 'hold',
    title: 'the size of a file is not the one in the manifest',
    remedy: `${COPY_AGAIN}. Do not reformat the card.`,
  },
  'file-checksum-differs': {
    weight: 'hold',
    title: 'the checksum of a file is not the one in the manifest',
    remedy: `${COPY_AGAIN}, and check the drive and its cable. Do not reformat the card.`,
  },
  'manifest-byte-order': {
    weight: 'note',
    title: 'a manifest writes a checksum in the wrong byte order',
    remedy: 'Report this to the maker of the program that wrote the manifest. The checksum itself is right.',
  },
  'file-name-spelling': {
    weight: 'note',
    title: 'a file name looks the same as in the manifest and is encoded differently',
    remedy:
      'Do nothing: the file was found and compared. Some file systems change the Unicode form of names when files are copied.',
  },
  'file-empty': {
    weight: 'note',
    title: 'a file of the roll is empty',
    remedy:
      'Compare the file with the card, if it should be a clip: the recording or the copying was cut off.',
  },
  'file-unlisted': {
    weight: 'hold',
    title: 'a file in the roll is in no manifest',
    remedy:
      'Find out where the file comes from. If it is not from the card, move it out of the roll. If it is, make a manifest that lists it, from the card: `rushlight manifest <roll> --to <folder>`, then pass that folder with --manifests.',
  },
  'file-unreadable': {
    weight: 'hold',
    title: 'a file or folder of the roll cannot be read',
    remedy:
      'Check its permissions and the drive. If the drive is failing, copy the file again from the card or from a copy that is verified.',
  },
  'file-changed-while-read': {
    weight: 'hold',
    title: 'a file of the roll changed while it was read',
    remedy: 'Wait until copying has ended, and run again.',
  },
  'file-not-regular': {
    weight: 'hold',
    title: 'the roll has something that is neither a file nor a folder',
    remedy:
      'Find out what put it there, and remove it from the roll: a card has no pipes, sockets or devices.',
  },
  'link-leaves-roll': {
    weight: 'hold',
    title: 'a symbolic link points out of its roll',
    remedy: 'Put the file itself in place of the link, or remove the link. Links are never followed.',
  },
  'link-inside-roll': {
    weight: 'note',
    title: 'a symbolic link points at another place in its roll',
    remedy:
      'Do nothing, unless the manifest lists the link. Links are never followed; what it points at is read in its own place.',
  },
  'copy-lacks-roll': {
    weight: 'hold',
    title: 'the roll is missing from a copy of the day',
    remedy:
      'Copy the roll to that place from the card or from a copy that is verified, or name the right folder with --copy.',
  },
  'copy-differs': {
    weight: 'hold',
    title: 'a copy differs from the working copy',
    remedy:
      'Compare both with the manifest: it says which of them is right. Where it does not list the file, compare with the card before it is reformatted.',
  },
  'roll-repeated': {
    weight: 'hold',
    title: 'all media files of the roll lie in another roll too',
    remedy:
      'Compare the labels of the cards with the names of both rolls, and keep both cards as they are: if they are two cards, one was copied twice and the other has no copy yet. Copy that one from its card. If both rolls are one card, move one of the two folders out of the day, or out of the delivery, and run again.',
  },
  'roll-overlaps': {
    weight: 'note',
    title: 'media files of the roll lie in another roll too',
    remedy:
      'Do nothing if the card was copied before it was full, and again later. If not, compare both rolls with their cards before these are used again.',
  },
  'copy-same-place': {
    weight: 'hold',
    title: 'a copy is the same folder as another one',
    remedy: 'Name the folder of the other copy with --copy. One folder read twice is one copy.',
  },
  'copy-same-file': {
    weight: 'hold',
    title: 'a copy has the very files of another copy',
    remedy:
      'Copy the roll to another drive from the card or from a copy that is verified, and name that folder with --copy. Hard links and one drive under two names are one copy: what damages one damages the other.',
  },
  'copy-same-drive': {
    weight: 'note',
    title: 'two copies lie on one drive, file system or server',
    remedy:
      'Make a further copy on another drive, unless there is one that was not named: what takes this drive takes both.',
  },
  'copy-not-told-apart': {
    weight: 'note',
    title: 'a copy cannot be kept apart from another one, and both count as one',
    remedy:
      'Look at what is mounted there. If they are two drives, verify again where each is mounted directly, and not through a program or a share; if it is one drive under two names, make another copy.',
  },
  'copy-changed-since': {
    weight: 'hold',
    title: 'a copy has changed since it was verified',
    remedy:
      'Find out what wrote into the copy: nothing may. Compare it with the other copies (`rushlight check <day> --copy <day>`), restore what differs, and run again: every byte is read again.',
  },
  'copy-gone-since': {
    weight: 'note',
    title: 'a copy is no longer there since it was verified',
    remedy:
      'Mount the drive again and run `rushlight check <day> --copy <day>` when you need to know that the copy is still good. The verdict speaks of what was read.',
  },
  'copy-not-added': {
    weight: 'hold',
    title: 'a verified copy was not added to the verdict of its roll',
    remedy:
      'Read what was found, and run `rushlight run` with this copy among the others: it decides again from all of them. Nothing in the delivery was changed.',
  },
  'file-outside-rolls': {
    weight: 'hold',
    title: 'a media file in the shoot day is outside every roll',
    remedy: 'Move the file into its roll, where the manifest lists it, or out of the shoot day.',
  },
  'link-in-day': {
    weight: 'hold',
    title: 'the shoot day has a symbolic link where a roll could be',
    remedy: 'Put the roll itself there, or name the folder that has it. Links are never followed.',
  },
  'roll-twice': {
    weight: 'hold',
    title: 'two folders of the shoot day have the same roll name',
    remedy: 'Rename one of them, or move it out of the shoot day. Only the first was read.',
  },
  'manifest-exists': {
    weight: 'hold',
    title: 'somebody else made a manifest of the roll there at the same time',
    remedy:
      'Look at the history that is there, and run the command again: it adds a generation. Nothing was overwritten.',
  },
  'manifest-of-another-roll': {
    weight: 'hold',
    title: 'the history there is of another roll with the same name',
    remedy: 'Name another folder with --to. Nothing was written.',
  },
  'manifest-name-unwritable': {
    weight: 'hold',
    title: 'a file name cannot be written into a manifest of this kind',
    remedy:
      'Make the manifest with a checksum program instead (for example sha256sum), which keeps names as bytes: XML cannot have this name.',
  },
  'system-files-left': {
    weight: 'note',
    title: 'files of an operating system lie there, and are left out',
    remedy: 'Leave them there: they hold no media, and no verdict is about them.',
  },
} as const satisfies Record<string, CodeEntry>;
