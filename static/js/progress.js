// A page that waits for work in the background shows how far it has come, and what came of it once it is done.
import { all } from './page.js';

for (const part of all('[data-progress]')) {
  const look = async () => {
    try {
      const answer = await fetch(part.dataset.progress);
      const found = new DOMParser().parseFromString(await answer.text(), 'text/html').querySelector('[data-progress] [role=status]');
      const says = part.querySelector('[role=status]');
      if (!answer.ok || !found || !says) { location.reload(); return; }
      if (says.textContent !== found.textContent) says.textContent = found.textContent;
    } catch { /* the program may be starting again */ }
    setTimeout(look, 1000);
  };
  setTimeout(look, 1000);
}
