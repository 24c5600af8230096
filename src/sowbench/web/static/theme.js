// Before anything is painted: the choice of light or dark that was kept on this device.
"use strict";
try {
  const chosen = localStorage.getItem("sowbench-theme");
  if (chosen === "light" || chosen === "dark") document.documentElement.dataset.theme = chosen;
} catch {
  // No storage is allowed here: the device decides.
}
