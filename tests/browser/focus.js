// Is the element the cursor is on to be seen? Returns { id, fault }.
const at = document.activeElement;
const id = at.id || at.tagName.toLowerCase();
const style = getComputedStyle(at);
const canvas = new OffscreenCanvas(1, 1).getContext('2d', { willReadFrequently: true });
const rgba = (color) => {
  canvas.clearRect(0, 0, 1, 1);
  canvas.fillStyle = color;
  canvas.fillRect(0, 0, 1, 1);
  return [...canvas.getImageData(0, 0, 1, 1).data];
};
const light = ([r, g, b]) => [r, g, b].map((v) => v / 255)
  .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
  .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
const contrast = (a, b) => (Math.max(light(a), light(b)) + 0.05) / (Math.min(light(a), light(b)) + 0.05);
let around = at.parentElement;
while (around.parentElement && rgba(getComputedStyle(around).backgroundColor)[3] < 255) around = around.parentElement;
const box = at.getBoundingClientRect();
const [x, y] = [box.x + box.width / 2, box.y + Math.min(box.height, innerHeight) / 2];
const top = document.elementFromPoint(x, y);
let fault = '';
if (!at.matches(':focus-visible')) fault = 'not focused by the keyboard';
else if (style.outlineStyle === 'none' || parseFloat(style.outlineWidth) < 2) fault = `outline ${style.outline}`;
else if (contrast(rgba(style.outlineColor), rgba(getComputedStyle(around).backgroundColor)) < 3) fault = `faint ring ${style.outlineColor}`;
else if (box.bottom <= 0 || box.top >= innerHeight) fault = 'out of the window';
else if (!top || !(at.contains(top) || top.contains(at) || top.closest('label')?.control === at)) fault = `covered by ${top?.outerHTML.slice(0, 80)}`;
return { id, fault };
