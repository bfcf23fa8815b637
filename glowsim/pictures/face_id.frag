#version 330 core
// Writes the number of the triangle, counted from 1, as a colour of 24 bits; the background
// stays 0.

out vec4 frag_color;

void main()
{
    int id = gl_PrimitiveID + 1;
    frag_color = vec4(
        float((id >> 16) & 255) / 255.0,
        float((id >> 8) & 255) / 255.0,
        float(id & 255) / 255.0,
        1.0
    );
}
