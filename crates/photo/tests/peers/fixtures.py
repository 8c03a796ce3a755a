"""Makes the pictures in ../fixtures and asks another reader what they say.

    python3 -m venv V && V/bin/pip install pillow==13.0.0 pillow-heif==1.8.1 piexif==1.1.3
    V/bin/python fixtures.py make ../fixtures      (writes the pictures, and what ExifTool 12.57 says of them to said.json)
    V/bin/python fixtures.py copies ORIGINALS COPIES   (copies without location: same pixels by Pillow, no place by ExifTool)

ExifTool is Debian's libimage-exiftool-perl. Every place in the pictures beyond the GPS directory holds the word PLANTED.
"""
import io, json, pathlib, struct, subprocess, sys
import piexif, pillow_heif
from PIL import Image, PngImagePlugin

pillow_heif.register_heif_opener()

def picture(w=24, h=16):
    image = Image.new("RGB", (w, h))
    image.putdata([(x * 10 % 256, y * 15 % 256, (x * y) % 256) for y in range(h) for x in range(w)])
    return image

def exif(orientation, offset=b"+10:00", south=True, error=((47, 10)), thumbnail=False):
    ifd0 = {piexif.ImageIFD.Make: b"Maker of Cameras", piexif.ImageIFD.Model: b"Model 7", piexif.ImageIFD.Orientation: orientation,
            piexif.ImageIFD.ImageDescription: b"PLANTED in the words", piexif.ImageIFD.DateTime: b"2026:05:04 08:00:00",
            piexif.ImageIFD.XResolution: (72, 1), piexif.ImageIFD.YResolution: (72, 1)}
    taking = {piexif.ExifIFD.DateTimeOriginal: b"2026:05:03 14:22:05", piexif.ExifIFD.SubSecTimeOriginal: b"250",
              piexif.ExifIFD.MakerNote: b"PLANTED in the maker's note", piexif.ExifIFD.UserComment: b"ASCII\0\0\0PLANTED in a comment",
              piexif.ExifIFD.ExposureTime: (1, 60), piexif.ExifIFD.FNumber: (18, 10), piexif.ExifIFD.LensModel: b"a lens"}
    if offset:
        taking[piexif.ExifIFD.OffsetTimeOriginal] = offset
    gps = {piexif.GPSIFD.GPSLatitudeRef: b"S" if south else b"N", piexif.GPSIFD.GPSLatitude: ((37, 1), (48, 1), (5049, 100)),
           piexif.GPSIFD.GPSLongitudeRef: b"E" if south else b"W", piexif.GPSIFD.GPSLongitude: ((144, 1), (57, 1), (4732, 100)),
           piexif.GPSIFD.GPSMapDatum: b"WGS-84", piexif.GPSIFD.GPSAreaInformation: b"ASCII\0\0\0PLANTED area"}
    if error:
        gps[piexif.GPSIFD.GPSHPositioningError] = error
    first, small = {}, None
    if thumbnail:
        out = io.BytesIO()
        picture(8, 8).save(out, "JPEG", comment=b"PLANTED in the thumbnail")
        first, small = {piexif.ImageIFD.Compression: 6}, out.getvalue()
    return piexif.dump({"0th": ifd0, "Exif": taking, "GPS": gps, "1st": first, "thumbnail": small})

XMP = (b"<?xpacket begin='' id='W5M0MpCehiHzreSzNTczkc9d'?><x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF "
       b"xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description rdf:about='' "
       b"xmlns:exif='http://ns.adobe.com/exif/1.0/' xmlns:dc='http://purl.org/dc/elements/1.1/' exif:GPSLatitude='37,48.8415S' "
       b"exif:GPSLongitude='144,57.7887E' dc:source='PLANTED in XMP'/></rdf:RDF></x:xmpmeta><?xpacket end='w'?>")

def segment(marker, body):
    return bytes([0xff, marker]) + struct.pack(">H", len(body) + 2) + body

def make(to):
    to.mkdir(exist_ok=True)
    # A photograph of a phone, with everything that can say a place.
    out = io.BytesIO()
    picture().save(out, "JPEG", exif=exif(6, thumbnail=True), xmp=XMP, comment=b"PLANTED in a comment", quality=80)
    data = out.getvalue()
    iptc = b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x13\x1c\x02\x5a\0\x0ePLANTED suburb\0"
    second = io.BytesIO()
    picture(8, 8).save(second, "JPEG", exif=exif(1))
    data = data[:2] + segment(0xed, iptc) + segment(0xe5, b"PLANTED by a maker") + data[2:] + second.getvalue() + b"PLANTED after the end"
    (to / "phone.jpg").write_bytes(data)
    # Progressive, restarts, no offset, north and west, no error; orientation 1.
    picture(40, 24).save(to / "camera.jpg", "JPEG", exif=exif(1, offset=None, south=False, error=None), progressive=True, restart_marker_blocks=2)
    # Little end first, as Pillow writes its own.
    own = Image.Exif()
    own.endian = "<"
    own[0x0112], own[0x010f], own[0x0110] = 8, "Maker of Cameras", "Model 8"
    own.get_ifd(0x8769).update({0x9003: "2024:02:29 23:59:59", 0x9011: "-03:30"})
    own.get_ifd(0x8825).update({1: "N", 2: (47.0, 33.0, 44.4), 3: "W", 4: (52.0, 42.0, 26.0)})
    picture().save(to / "little-end.jpg", "JPEG", exif=own)
    picture().save(to / "plain.jpg", "JPEG")
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", "PLANTED in a text")
    text.add_itxt("XML:com.adobe.xmp", XMP.decode())
    picture().save(to / "screen.png", exif=exif(3), pnginfo=text)
    picture().save(to / "lossy.webp", exif=exif(5), xmp=XMP, quality=70)
    picture(31, 17).save(to / "lossless.webp", exif=exif(7), xmp=XMP, lossless=True)
    picture(20, 20).save(to / "plain.webp")
    Image.new("RGB", (128, 64), (200, 120, 40)).save(to / "phone.heic", exif=exif(6), xmp=XMP, quality=50)
    names = sorted(path.name for path in to.iterdir() if path.suffix != ".json")
    tags = ["DateTimeOriginal", "OffsetTimeOriginal", "SubSecTimeOriginal", "IFD0:Orientation", "Make", "Model", "GPSHPositioningError",
            "Composite:GPSLatitude", "Composite:GPSLongitude", "ImageWidth", "ImageHeight", "Rotation"]
    said = ask(["-n", *(f"-{tag}" for tag in tags)], [to / name for name in names])
    for one in said:
        one["SourceFile"] = pathlib.Path(one["SourceFile"]).name
    (to / "said.json").write_text(json.dumps(said, indent=1) + "\n")

def ask(args, paths):
    return json.loads(subprocess.run(["exiftool", "-j", *args, *map(str, paths)], check=True, capture_output=True, text=True).stdout)

def copies(originals, made):
    seen = 0
    for path in sorted(made.iterdir()):
        if path.suffix not in (".jpg", ".png", ".webp"):
            continue
        before, after = Image.open(originals / path.name), Image.open(path)
        assert before.tobytes() == after.tobytes(), path
        assert before.getexif().get(0x0112) == after.getexif().get(0x0112), path
        said = ask(["-n", "-a", "-G1", "-ee3", "-u", "-warning", "-validate"], [path])[0]
        assert not any("GPS" in tag or "XMP" in tag or "IPTC" in tag or "MakerNote" in tag for tag in said), (path, said)
        assert b"PLANTED" not in path.read_bytes(), path
        print(path.name, "same pixels, no place;", said.get("ExifTool:Validate"), said.get("ExifTool:Warning"))
        seen += 1
    assert seen > 0

if __name__ == "__main__":
    {"make": make, "copies": copies}[sys.argv[1]](*map(pathlib.Path, sys.argv[2:]))
