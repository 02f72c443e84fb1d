/** The whole set of disturbances on a standing Redis with a password. */
import { disturbedNights } from './disturbances.ts';
import { ownRedis } from './own-redis.ts';

disturbedNights((await ownRedis()).place, 'all');
