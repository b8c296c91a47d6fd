"""A SIMULATION of a picture tube and of a camera before it, for tests: photographs whose every distortion is known.

Nothing here was taken from a real tube or a real camera, and nothing of the product imports it. The camera is OpenCV's
pinhole with its lens model; the rest is arithmetic of our own. It imports nothing from `analysis`, so that a mistake
there cannot repeat itself here.

`tube.py` is the tube: where its guns put the picture, how wide the spot is, what the mask lets through. `light.py` is
the light that a picture makes on it. `camera.py` is the camera: projection there and back. `scene.py` is what stands
before the camera besides: the marks, the bezel, the room. `lookout.py` says where pixels look. `photograph.py` makes
the photograph of all of it, `board.py` the one of a calibration board, `sets.py` many of them by number.
"""
