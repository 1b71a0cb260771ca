// The Key leg: lists are tapped instead of typed, a question is copied or shared. Pages work without it.

document.querySelectorAll("[data-taps]").forEach((row) => {
  const field = document.getElementById(row.dataset.taps);
  if (!field || !row.querySelector("button")) return;
  // The taps say the same and are seen on a telephone too.
  field.removeAttribute("list");
  row.hidden = false;
  row.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    field.value = button.value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
});

const copyText = async (message) => {
  if (navigator.clipboard) {
    await navigator.clipboard.writeText(message.value);
    return;
  }
  // Over plain http, as in a shop's own network, there is only the old way.
  message.focus();
  message.select();
  if (!document.execCommand("copy")) throw new Error("not copied");
};

const fetchPicture = async (address, name) => {
  const answer = await fetch(address);
  if (!answer.ok || answer.headers.get("Content-Type") !== "image/png") throw new Error("no picture");
  return new File([await answer.blob()], name, { type: "image/png" });
};

document.querySelectorAll("[data-send]").forEach((row) => {
  const message = document.getElementById(row.dataset.message);
  const [copy, share] = [row.querySelector("[data-copy]"), row.querySelector("[data-share]")];
  const said = row.nextElementSibling;
  const details = row.closest("details");
  let files = null;

  copy.hidden = false;
  copy.addEventListener("click", async () => {
    try {
      await copyText(message);
      said.textContent = "Copied. Paste it into a message to the customer.";
    } catch {
      message.focus();
      message.select();
      said.textContent = "This browser does not copy by itself: the message is selected, copy it from there.";
    }
  });

  // The picture is fetched before the press: a share sheet opens only at once after it.
  details.addEventListener("toggle", async () => {
    if (!details.open || files || !navigator.canShare) return;
    try {
      const file = await fetchPicture(row.dataset.send, row.dataset.name);
      if (!navigator.canShare({ files: [file] })) return;
      files = [file];
      share.hidden = false;
    } catch {
      // The message can still be copied and the picture saved.
    }
  });
  share.addEventListener("click", async () => {
    try {
      await navigator.share({ files, text: message.value });
      said.textContent = "Handed to the telephone. When it is sent, say so below.";
    } catch (error) {
      if (error.name !== "AbortError") said.textContent = "It could not be shared here: copy the message and save the picture.";
    }
  });
});
