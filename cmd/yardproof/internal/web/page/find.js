// Finding out what is wrong: what was seen goes in, what to do comes out.

export function startFind() {}
