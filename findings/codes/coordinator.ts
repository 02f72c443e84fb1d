/** Codes of a standing coordinator and of messages. */
import type { CodeEntry } from '../entry.ts';

export const coordinatorCodes = {
  'coordinator-file-unreadable': {
    weight: 'hold',
    title: 'the file of the coordinator cannot be read',
    remedy: 'Correct the line named. docs/coordinator.md shows a file that can be read.',
  },
  'coordinator-value-wrong': {
    weight: 'hold',
    title: 'a field of the coordinator has an impossible value',
    remedy: 'Correct the field named. docs/coordinator.md lists every field and its values.',
  },
  'coordinator-not-served': {
    weight: 'hold',
    title: 'health and metrics of the coordinator cannot be served',
    remedy:
      'Name a free address of this machine in `listen`, and a `listen_token_file` where others can reach it. Two coordinators on one machine need an address each.',
  },
  'group-not-given': {
    weight: 'note',
    title: 'files of the delivery do not have the group of its folder',
    remedy:
      'Let the account that runs Rushlight, on each machine, be a member of that group, or give the folder of the delivery its set-group-id bit (`chmod g+s`) before the day begins. What is there already: `chgrp -R`, with the group and the folder of the day. Where another group is meant, nothing need be done.',
  },
  'read-earlier': {
    weight: 'note',
    title: 'files were read by this machine a while ago, and not once more',
    remedy:
      'Run `rushlight check` on the day where you want every byte to be read again, or write `read_again_hours: 0` into the file of the coordinator. Size, number and times of these files are as they were when they were read.',
  },
  'reads-not-kept': {
    weight: 'note',
    title: 'what was read cannot be kept on this machine',
    remedy:
      'Make the state folder writable (XDG_STATE_HOME, by default ~/.local/state). Until then a coordinator that is started again reads everything again.',
  },
  'messages-file-unreadable': {
    weight: 'hold',
    title: 'the file of messages cannot be read',
    remedy: 'Correct the line named. docs/messages.md shows a file that can be read.',
  },
  'messages-value-wrong': {
    weight: 'hold',
    title: 'a field of the file of messages has an impossible value',
    remedy: 'Correct the field named. docs/messages.md lists every field and its values.',
  },
  'secret-open-to-others': {
    weight: 'hold',
    title: 'others can read the file of a secret',
    remedy:
      'Change its rights, with `chmod 600 <file>`. If somebody else may have read it, make a new secret.',
  },
  'secret-unusable': {
    weight: 'hold',
    title: 'a file is not the secret that is asked of it',
    remedy: 'Write the secret into the file named, on one line. docs/messages.md says how to make one.',
  },
  'message-not-sent': {
    weight: 'note',
    title: 'a message did not reach its receiver',
    remedy:
      'Look whether the receiver is up, and whether address and secret are right. No verdict rests on messages. What waits is sent again by the next run, or by the coordinator, for a day.',
  },
  'machine-lost': {
    weight: 'note',
    title: 'a machine of the farm gives no sign any more',
    remedy:
      'Look after the machine and its network. What it had in hand is made by others, and it is welcome back at any time: start `rushlight worker` there.',
  },
} as const satisfies Record<string, CodeEntry>;
