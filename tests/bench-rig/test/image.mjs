// Where the image is: built by `run`, which names it in the environment.

export const IMAGE = process.env.STEADYPASS_IMAGE ?? fail();

function fail() {
  throw new Error('STEADYPASS_IMAGE is not set: start the tests with tests/bench-rig/run');
}
