// A barcode reader types a number faster than a person can, and then Enter. Outside a field this opens the next step of
// the job; what is typed in a field stays there, except in the box at the head of the page, where a scan means the same.
const longestGapMs = 50;
const shortest = 3;
const box = document.querySelector('input[data-scan]');
let read = '';
let last = 0;

const takesText = (element) => element.closest?.('textarea, select, [contenteditable], input:not([type=checkbox]):not([type=radio])')
  && element !== box;

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || takesText(event.target)) { read = ''; return; }
  if (event.key === 'Shift') return;
  const isFast = event.timeStamp - last <= longestGapMs;
  last = event.timeStamp;
  if (event.key === 'Enter') {
    const scanned = isFast ? read : '';
    read = '';
    // In the box only a scan that fills it alone.
    if (scanned.length < shortest || (event.target === box && box.value !== scanned)) return;
    event.preventDefault();
    event.stopPropagation();
    location.assign(`/scan/${encodeURIComponent(scanned)}`);
    return;
  }
  if (!/^[0-9A-Za-z-]$/.test(event.key)) { read = ''; return; }
  read = isFast ? read + event.key : event.key;
}, { capture: true });
