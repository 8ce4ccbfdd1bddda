// --------------------------------------------- a page that is served follows its server

/** Play the song from where the page came from, and take the plan anew when it changes. */
function follow({ sound: address, news, song: name }) {
  take(address, data.title);
  $("correct").closest("section").hidden = true; // corrections are made where the page comes from
  $("open-song").hidden = true;
  let isOld = false;
  const again = () => { if (isOld && !sound.playing) location.reload(); };
  const source = new EventSource(news);
  source.addEventListener("song", (event) => {
    const { hash: changed } = JSON.parse(event.data);
    if (changed && changed !== name) return;
    isOld = true;
    if (sound.playing) announce("the plan has changed; it is shown when you pause");
    again();
  });
  setInterval(again, 500);
}
