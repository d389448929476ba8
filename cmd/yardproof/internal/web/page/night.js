// A sheet wears the look that the page was left in.

import { kept } from "./dom.js";

if (kept("night", "no") === "yes") document.documentElement.dataset.look = "night";
