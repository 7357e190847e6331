// Opens the browser's own print window; what is printed, the page's style says.
export default function ({ data, parentElement }) {
  const button = parentElement.querySelector("button");
  button.textContent = data.label;
  button.onclick = () => window.print();
}
