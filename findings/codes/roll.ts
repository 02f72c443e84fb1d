/** Codes of a roll, its copies and its manifests (intake). */
import type { CodeEntry } from '../entry.ts';

export const rollCodes = {
  'manifest-missing': {
    weight: 'hold',
    title: 'the roll has no manifest',
    remedy:
      'A manifest counts in the roll; and at the top of the shoot day, of a copy or of a folder that --manifests names, when it is named after the roll, lies in a folder named after it, or has paths that begin with its name. If there is none, copy the card again with checksums, or make one with `rushlight manifest <roll> --to <folder>` while the card still exists, and pass the folder with --manifests. A manifest made now proves the copies equal to each other, not to the card.',
  },
  'manifest-unreadable': {
    weight: 'hold',
    title: 'a manifest cannot be read',
    remedy:
      'Fetch the manifest again from the copy that was made first, or from another copy. Do not edit it by hand.',
  },
  'roll-empty': {
    weight: 'hold',
    title: 'the roll has no clip',
    remedy: 'Compare with the card. If the roll was meant to be empty, take its folder out of the shoot day.',
  },
  'manifest-line-malformed': {
    weight: 'hold',
    title: 'an entry of a manifest cannot be understood',
    remedy:
      'Compare with the manifest on another copy. Fetch an undamaged one, or make a new manifest; do not repair it by hand.',
  },
  'manifest-algorithm-unknown': {
    weight: 'hold',
    title: 'a manifest states a checksum of a kind that cannot be computed here',
    remedy:
      'Name the file after its algorithm (for example checksums.xxh128), or make a manifest with one of the kinds that are read.',
  },
  'manifest-path-outside': {
    weight: 'hold',
    title: 'a manifest names a path outside its roll',
    remedy: 'Such a manifest is broken or was tampered with. Fetch it from another copy and ask who made it.',
  },
  'manifest-path-absolute': {
    weight: 'hold',
    title: 'a manifest names files by whole paths of the machine that made it',
    remedy:
      'Run the checksum program again in the folder that holds the roll, with the name of the roll instead of the whole path, and take this list out of the roll.',
  },
  'manifest-path-separators': {
    weight: 'note',
    title: 'a manifest writes its paths with backslashes, as programs on Windows do',
    remedy: 'Nothing: the files were found and compared under the same paths with slashes.',
  },
  'manifest-not-used': {
    weight: 'note',
    title: 'something lies where manifests are looked for, and is not used',
    remedy:
      'If it should count, name it after the roll (`A001.md5`), put it in the roll, or make a list whose paths begin with the name of the roll. Put the file itself where a link stands. If it should not count, nothing need be done.',
  },
  'manifest-entries-outside-rolls': {
    weight: 'note',
    title: 'a manifest of the day lists files that lie in none of its rolls',
    remedy:
      'These files are not read and nothing is said of them. Compare them with the checksum program that wrote the list, if they matter.',
  },
  'roll-only-in-manifest': {
    weight: 'hold',
    title: 'a manifest of the day lists a roll that the shoot day lacks',
    remedy:
      'Copy the roll to the shoot day from its card or from another copy, and run again. If it belongs elsewhere, make a manifest of the day without it.',
  },
  'manifest-too-large': {
    weight: 'hold',
    title: 'a manifest is larger than what is read',
    remedy:
      'Make a list for each roll instead of one for all of them, or leave frames of other days out of it. Nothing of this one was read.',
  },
  'manifest-contradiction': {
    weight: 'hold',
    title: 'manifests of one roll state different things about one file',
    remedy: 'Find out which manifest was made from the card, and take the other one out of the roll.',
  },
  'manifest-chain-broken': {
    weight: 'hold',
    title: "the history of a roll's manifests is not whole",
    remedy:
      'Fetch the whole history folder from the copy that was made first. A manifest that was changed or taken out after it was recorded proves nothing.',
  },
  'manifest-failure': {
    weight: 'hold',
    title: 'a history records that a file was not good when it was last checked',
    remedy:
      'The copy that was checked then was bad. Find out which it was, copy the file again from the card or from a copy that is verified, and check it again with the program that writes the history.',
  },
  'manifest-failure-settled': {
    weight: 'note',
    title: 'a history records that a file was not good once, and later that it was',
    remedy:
      'Nothing, when the file was copied again in between. A drive on which this happens often is not to be trusted.',
  },
  'manifest-superseded': {
    weight: 'note',
    title: 'a newer generation states another checksum of a file than an older one',
    remedy:
      'The newest counts. Ask who made that generation whether the file was changed on purpose after the card was copied.',
  },
  'findings-more': {
    weight: 'note',
    title: 'there are more findings of one kind than are written out',
    remedy:
      'What is said of the first ones goes for all of them. Remove their cause and check again: what is left is named then.',
  },
  'roll-file-absent': {
    weight: 'hold',
    title: 'a file that the manifest lists is not there',
    remedy: 'Copy the file again from the card or from a copy that is verified. Do not reformat the card.',
  },
  'roll-file-size-differs': {
    weight: 'hold',
    title: 'a file of the roll has another size than the manifest says',
    remedy: 'Copy the file again from the card or from a copy that is verified. Do not reformat the card.',
  },
  'file-checksum-differs': {
    weight: 'hold',
    title: 'a file of the roll has other bytes than the manifest says',
    remedy:
      'Copy the file again from the card or from a copy that is verified, and check the drive and cable. Do not reformat the card.',
  },
  'manifest-byte-order': {
    weight: 'note',
    title: 'a manifest writes a checksum with its bytes in the other order than its kind asks',
    remedy:
      'The value is the right one, written wrongly. Tell the maker of the program that wrote the manifest.',
  },
  'file-name-spelling': {
    weight: 'note',
    title: 'a name is spelled with other characters than in the manifest, and looks the same',
    remedy:
      'Nothing: the file was found and compared. Some file systems change the Unicode form of names when files are copied.',
  },
  'file-empty': {
    weight: 'note',
    title: 'a file of the roll has no bytes',
    remedy: 'If it should be a clip, compare with the card: the recording or the copying was cut off.',
  },
  'file-unlisted': {
    weight: 'hold',
    title: 'a file lies in the roll that no manifest lists',
    remedy:
      'Find out where it comes from. If it belongs to the card, make a manifest that lists it; if not, move it out of the roll.',
  },
  'file-unreadable': {
    weight: 'hold',
    title: 'a file or folder of the roll cannot be read',
    remedy:
      'Check its permissions and the drive. Copy it again from the card or from a copy that is verified.',
  },
  'file-changed-while-read': {
    weight: 'hold',
    title: 'a file of the roll changed while it was read',
    remedy: 'Wait until copying has ended, and run again.',
  },
  'file-not-regular': {
    weight: 'hold',
    title: 'something in the roll is neither a file nor a folder',
    remedy:
      'A card has no pipes, sockets or devices. Find out what put it there and take it out of the roll.',
  },
  'link-leaves-roll': {
    weight: 'hold',
    title: 'a symbolic link points out of its roll',
    remedy: 'Links are never followed. Put the file itself in its place, or take the link out.',
  },
  'link-inside-roll': {
    weight: 'note',
    title: 'a symbolic link points at another place in its roll',
    remedy:
      'Links are never followed; what it points at is read in its own place. Nothing need be done unless the manifest lists the link.',
  },
  'copy-lacks-roll': {
    weight: 'hold',
    title: 'a copy of the day does not have the roll',
    remedy:
      'Copy the roll to that place from the card or from a copy that is verified, or name the right folder.',
  },
  'copy-differs': {
    weight: 'hold',
    title: 'a copy differs from the working copy',
    remedy:
      'The manifest says which of them is right. Where it is silent, compare with the card before it is reformatted.',
  },
  'copy-same-place': {
    weight: 'hold',
    title: 'a copy is the same folder as another one',
    remedy: 'Name the folder of the other copy. A folder read twice is one copy.',
  },
  'file-outside-rolls': {
    weight: 'hold',
    title: 'a media file lies in the shoot day outside every roll',
    remedy: 'Move it into its roll and see that the manifest lists it, or take it out of the shoot day.',
  },
  'link-in-day': {
    weight: 'hold',
    title: 'a symbolic link stands in the shoot day where a roll could be',
    remedy: 'Links are never followed. Put the roll itself there, or name the folder that holds it.',
  },
  'roll-twice': {
    weight: 'hold',
    title: 'two folders of the shoot day are the same roll by name',
    remedy: 'Rename one of them or take it out of the shoot day. Only the first was looked at.',
  },
  'manifest-exists': {
    weight: 'hold',
    title: 'somebody else made a manifest of the roll there at the same time',
    remedy:
      'Look at the history that stands there, and run the command again: a further generation is added to it. Nothing was written over.',
  },
  'manifest-of-another-roll': {
    weight: 'hold',
    title: 'the history that stands there is of another roll with the same name',
    remedy: 'Name another folder with --to. Nothing was written.',
  },
  'manifest-name-unwritable': {
    weight: 'hold',
    title: 'a file name cannot be written into a manifest of this kind',
    remedy:
      'XML cannot carry this name. Make a manifest with a checksum program instead (for example sha256sum), which keeps names as bytes.',
  },
  'system-files-left': {
    weight: 'note',
    title: 'files of an operating system lie there, and are left out',
    remedy: 'Nothing: they hold no media, and no verdict is about them.',
  },
} as const satisfies Record<string, CodeEntry>;
