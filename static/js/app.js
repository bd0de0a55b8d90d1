// Comforts only: every page works without scripts, and nothing here decides anything.
import './draft.js';
import './once.js';
import './understood.js';
import './live.js';
import './suggest.js';
import './summary.js';
import './print.js';
import './progress.js';
import './focus.js';
import './sections.js';
import './rows.js';
import './scan.js';
import './outline.js';
import './places.js';
import './marks.js';
