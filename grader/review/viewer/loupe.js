// A place enlarged, and sound surface at the same scale.

// Lengths that a scale bar may have; the longest that fits is used.
const BAR_MM = [0.5, 1, 2, 5, 10, 20, 50];

function cut(canvas, found, [x, y, side], scaleSide, perMm, finding) {
  const pen = canvas.getContext("2d");
  const k = canvas.width / scaleSide;
  const s = found.scale;
  pen.fillStyle = "#cfccc5";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  // Sound surface may be a smaller square: it stands in the middle, at the same scale.
  const size = side * k;
  const left = (canvas.width - size) / 2;
  pen.imageSmoothingEnabled = k / s < 6;
  pen.imageSmoothingQuality = "high";
  pen.drawImage(found.bitmap, x * s, y * s, side * s, side * s, left, left, size, size);
  if (finding) {
    trace(pen, finding, x, y, k);
    pen.strokeStyle = "rgba(255,255,255,.9)";
    pen.lineWidth = 3.5;
    pen.stroke();
    pen.strokeStyle = "#14110d";
    pen.lineWidth = 1.4;
    pen.stroke();
  }
  if (perMm) {
    const mm = [...BAR_MM].reverse().find((each) => each * perMm * k <= canvas.width / 2);
    if (mm) {
      const length = mm * perMm * k;
      pen.fillStyle = "rgba(255,255,255,.85)";
      pen.fillRect(8, canvas.height - 34, length + 12, 28);
      pen.fillStyle = "#14110d";
      pen.fillRect(14, canvas.height - 13, length, 3);
      pen.font = "600 15px sans-serif";
      pen.fillText(`${mm} mm`, 14, canvas.height - 18);
    }
  }
}

// The outline of a large place; four corners about a small one, which a line would hide.
function trace(pen, finding, x, y, k) {
  const [bx, by, bw, bh] = finding.box_px;
  pen.beginPath();
  if (Math.max(bw, bh) * k > 140) {
    finding.outline_px.forEach(([px, py], i) => {
      const point = [(px + 0.5 - x) * k, (py + 0.5 - y) * k];
      if (i) pen.lineTo(...point);
      else pen.moveTo(...point);
    });
    pen.closePath();
    return;
  }
  const off = 10;
  const arm = 12;
  const [x0, y0] = [(bx - x) * k - off, (by - y) * k - off];
  const [x1, y1] = [(bx + bw - x) * k + off, (by + bh - y) * k + off];
  for (const [cx, cy, sx, sy] of [[x0, y0, 1, 1], [x1, y0, -1, 1], [x1, y1, -1, -1], [x0, y1, 1, -1]]) {
    pen.moveTo(cx + arm * sx, cy);
    pen.lineTo(cx, cy);
    pen.lineTo(cx, cy + arm * sy);
  }
}
