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

// A form that sends a folder says how much it sends, and does not begin where that is too much.
for (const says of all('[data-sends]')) {
  const form = says.closest('form');
  form.addEventListener('submit', (event) => {
    const files = [...form.elements[says.dataset.sends].files];
    const mb = files.reduce((sum, file) => sum + file.size, 0) / 1e6;
    if (mb > says.dataset.mostMb) {
      event.preventDefault();
      event.stopImmediatePropagation();
      says.textContent = `The ${files.length.toLocaleString('en-US')} files of this folder have ${mb.toFixed(0)} MB, more than can be sent at once: write its path instead.`;
    } else if (files.length > 0) {
      says.textContent = `Sending ${files.length.toLocaleString('en-US')} files, ${mb.toFixed(1)} MB. The next page comes when all of them are here.`;
    }
  }, true);
}
